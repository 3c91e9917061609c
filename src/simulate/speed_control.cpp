#include "kurbel/simulate/speed_control.hpp"

#include <algorithm>

namespace kurbel::simulate {

namespace {

constexpr double kRadPerRpm = portable::kPi / 30.0;
constexpr double kSpeedFilter = 0.15;  // s
constexpr double kGravity = 9.81;
constexpr double kIdleRate = 4.0;  // 1/s, of the idle governor that helps a driver

}  // namespace

SpeedControl::SpeedControl(const Scenario& scenario, const EngineModel& model)
    : operation_(scenario.operation),
      start_load_(scenario.start.load),
      driveline_(scenario.driveline),
      model_(model),
      gearbox_(scenario.gearbox),
      mean_(scenario, model.cylinder(), model.friction()) {}

double SpeedControl::target_rad_s(double time_s) const noexcept {
    const Driveline& line = model_.driveline();
    if (line.active() && !operation_.speed_kmh.empty())
        return operation_.speed_kmh.at(time_s) / 3.6 / driveline_.wheel_radius_m * line.ratio();
    return operation_.speed_rpm.at(time_s) * kRadPerRpm;
}

double SpeedControl::target_slope(double time_s) const noexcept {
    const Driveline& line = model_.driveline();
    if (line.active() && !operation_.speed_kmh.empty())
        return operation_.speed_kmh.slope_at(time_s) / 3.6 / driveline_.wheel_radius_m * line.ratio();
    return operation_.speed_rpm.slope_at(time_s) * kRadPerRpm;
}

bool SpeedControl::governed() const noexcept {
    return operation_.mode == Operation::neutral || (operation_.mode == Operation::start && running_) ||
           (operation_.mode == Operation::road && operation_.load.empty());
}

double SpeedControl::road_nm(double speed_rad_s) const noexcept {
    const double arm =
        driveline_.wheel_radius_m / (model_.driveline().active() ? model_.driveline().ratio() : driveline_.ratio);
    const double way = speed_rad_s * arm;
    const double rolling = driveline_.rolling_n * portable::tanh(way / 0.1);
    const double climbing = driveline_.vehicle_kg * kGravity * driveline_.grade;
    return arm * (rolling + driveline_.drag_n_s2_m2 * way * way + climbing);
}

/// The driver lifts the foot while the clutch is open, and the idle governor keeps the engine from stalling.
double SpeedControl::with_clutch(double load) const noexcept {
    if (!model_.driveline().active()) return load;
    const double joined = model_.driveline().joined();
    const double lifted = std::min(load, gearbox_.change_load);
    const double driver = lifted + (load - lifted) * joined;
    const double idle = gearbox_.idle_rpm * kRadPerRpm;
    const double lacking = std::max(0.0, idle - filtered_crank_rad_s_) * kIdleRate * model_.engine_inertia_kg_m2();
    // Faded in from a fifth above idle speed down, so that it takes no part in driving.
    const double share = std::clamp((1.2 * idle - filtered_crank_rad_s_) / (0.2 * idle), 0.0, 1.0);
    const double governor = share * mean_.load_for(lacking, std::max(filtered_crank_rad_s_, 0.5 * idle));
    return std::clamp(std::max(driver, governor), std::min(operation_.lowest_load, driver), operation_.highest_load);
}

double SpeedControl::throttle_rad_s(double time_s) const noexcept {
    const bool idle = operation_.mode == Operation::neutral || operation_.mode == Operation::start;
    return idle ? operation_.speed_rpm.at(time_s) * kRadPerRpm : filtered_crank_rad_s_;
}

double SpeedControl::wanted_load(double time_s, double correction) const noexcept {
    if (operation_.mode == Operation::start && !running_) return start_load_;
    if (!governed()) return with_clutch(operation_.load.empty() ? operation_.highest_load : operation_.load.at(time_s));
    const double target = target_rad_s(time_s);
    const double road = operation_.mode == Operation::road ? road_nm(target) : 0.0;
    const double torque = road + model_.total_inertia_kg_m2() * (target_slope(time_s) + correction);
    const double load = mean_.load_for(torque, target);
    return with_clutch(std::clamp(load, operation_.lowest_load, operation_.highest_load));
}

double SpeedControl::steady_torque_nm(double time_s) const noexcept {
    return mean_.torque_nm(load_, target_rad_s(time_s));
}

void SpeedControl::settle(double time_s) noexcept {
    filtered_rad_s_ = target_rad_s(time_s);
    filtered_crank_rad_s_ = operation_.speed_rpm.at(time_s) * kRadPerRpm;
    load_ = wanted_load(time_s, 0.0);
    wanted_ = load_;
    integral_rad_s2_ = 0.0;
}

void SpeedControl::update(double time_s, double step_s, double crank_rad_s, bool fuel_cut) noexcept {
    const double target = target_rad_s(time_s);
    const bool geared = model_.driveline().active();
    // A vehicle speed is held at the vehicle, a crank speed at the wheels, where an open clutch does not show.
    const double behind = operation_.speed_kmh.empty() ? model_.driveline().wheels_as_crank_rad_s()
                                                       : model_.driveline().vehicle_as_crank_rad_s();
    const double speed_rad_s = geared ? behind : crank_rad_s;
    if (geared && model_.driveline().ratio() != ratio_) {
        // Another gear: the same vehicle speed and acceleration are others at the crank.
        const double change = ratio_ > 0.0 ? model_.driveline().ratio() / ratio_ : 1.0;
        filtered_rad_s_ *= change;
        integral_rad_s2_ *= change;
        ratio_ = model_.driveline().ratio();
    }
    filtered_crank_rad_s_ += (crank_rad_s - filtered_crank_rad_s_) * step_s / (kSpeedFilter + step_s);
    filtered_rad_s_ += (speed_rad_s - filtered_rad_s_) * step_s / (kSpeedFilter + step_s);
    const double error = target - filtered_rad_s_;
    const double bandwidth = operation_.control_rad_s;
    const double correction = bandwidth * error + integral_rad_s2_;
    const double wanted = fuel_cut && governed() ? operation_.lowest_load : wanted_load(time_s, correction);
    const bool at_stop = governed() && (wanted <= operation_.lowest_load || wanted >= operation_.highest_load);
    if (operation_.mode == Operation::start && !running_) {
        // Nothing is learnt before the governor is in charge.
        filtered_rad_s_ = crank_rad_s;
        integral_rad_s2_ = 0.0;
    } else if (!fuel_cut && !at_stop) {
        integral_rad_s2_ += 0.25 * bandwidth * bandwidth * error * step_s;
    }
    wanted_ = wanted;
    load_ += (wanted - load_) * step_s / (operation_.manifold_s + step_s);

    switch (operation_.mode) {
        case Operation::hold: {
            // In fuel cut the brake turns the engine.
            double engine = fuel_cut ? mean_.motored_nm(load_, target) : mean_.torque_nm(load_, target);
            if (geared) engine *= model_.driveline().joined();
            load_nm_ = engine - model_.total_inertia_kg_m2() * (target_slope(time_s) + correction);
            break;
        }
        case Operation::road: load_nm_ = geared ? 0.0 : road_nm(filtered_rad_s_); break;
        case Operation::neutral:
        case Operation::start:
        case Operation::cranking: load_nm_ = 0.0; break;
    }
}

}  // namespace kurbel::simulate
