#include "kurbel/simulate/speed_control.hpp"

#include <algorithm>

namespace kurbel::simulate {

namespace {

constexpr double kRadPerRpm = portable::kPi / 30.0;
constexpr double kSpeedFilter = 0.15;  // s
constexpr double kGravity = 9.81;

}  // namespace

SpeedControl::SpeedControl(const Scenario& scenario, const EngineModel& model)
    : operation_(scenario.operation),
      driveline_(scenario.driveline),
      mean_(scenario, model.cylinder(), model.friction()),
      inertia_(model.total_inertia_kg_m2()) {}

double SpeedControl::target_rad_s(double time_s) const noexcept { return operation_.speed_rpm.at(time_s) * kRadPerRpm; }

double SpeedControl::target_slope(double time_s) const noexcept {
    return operation_.speed_rpm.slope_at(time_s) * kRadPerRpm;
}

bool SpeedControl::governed() const noexcept {
    return operation_.mode == Operation::neutral || (operation_.mode == Operation::road && operation_.load.empty());
}

double SpeedControl::road_nm(double speed_rad_s) const noexcept {
    const double arm = driveline_.wheel_radius_m / driveline_.ratio;
    const double way = speed_rad_s * arm;
    const double rolling = driveline_.rolling_n * portable::tanh(way / 0.1);
    const double climbing = driveline_.vehicle_kg * kGravity * driveline_.grade;
    return arm * (rolling + driveline_.drag_n_s2_m2 * way * way + climbing);
}

double SpeedControl::wanted_load(double time_s, double correction) const noexcept {
    if (!governed()) return operation_.load.empty() ? operation_.highest_load : operation_.load.at(time_s);
    const double target = target_rad_s(time_s);
    const double road = operation_.mode == Operation::road ? road_nm(target) : 0.0;
    const double load = mean_.load_for(road + inertia_ * (target_slope(time_s) + correction), target);
    return std::clamp(load, operation_.lowest_load, operation_.highest_load);
}

double SpeedControl::steady_torque_nm(double time_s) const noexcept {
    return mean_.torque_nm(load_, target_rad_s(time_s));
}

void SpeedControl::settle(double time_s) noexcept {
    filtered_rad_s_ = target_rad_s(time_s);
    load_ = wanted_load(time_s, 0.0);
    integral_rad_s2_ = 0.0;
}

void SpeedControl::update(double time_s, double step_s, double speed_rad_s, bool fuel_cut) noexcept {
    const double target = target_rad_s(time_s);
    filtered_rad_s_ += (speed_rad_s - filtered_rad_s_) * step_s / (kSpeedFilter + step_s);
    const double error = target - filtered_rad_s_;
    const double bandwidth = operation_.control_rad_s;
    const double correction = bandwidth * error + integral_rad_s2_;
    const double wanted = fuel_cut && governed() ? operation_.lowest_load : wanted_load(time_s, correction);
    const bool at_stop = governed() && (wanted <= operation_.lowest_load || wanted >= operation_.highest_load);
    if (!fuel_cut && !at_stop) integral_rad_s2_ += 0.25 * bandwidth * bandwidth * error * step_s;
    load_ += (wanted - load_) * step_s / (operation_.manifold_s + step_s);

    switch (operation_.mode) {
        case Operation::hold: {
            // In fuel cut the brake turns the engine.
            const double engine = fuel_cut ? mean_.motored_nm(load_, target) : mean_.torque_nm(load_, target);
            load_nm_ = engine - inertia_ * (target_slope(time_s) + correction);
            break;
        }
        case Operation::road: load_nm_ = road_nm(filtered_rad_s_); break;
        case Operation::neutral:
        case Operation::cranking: load_nm_ = 0.0; break;
    }
}

}  // namespace kurbel::simulate
