#include "kurbel/simulate/driveline.hpp"

#include <algorithm>
#include <cmath>

namespace kurbel::simulate {

namespace {

using S = DrivelineState;

constexpr double kGravity = 9.81;
constexpr double kCreep = 0.1;        // m/s over which rolling resistance and brakes turn their sign
constexpr double kGripRate = 1000.0;  // 1/s at which a sliding tyre's force follows its limit
constexpr double kNoLimit = 1e12;
constexpr double kSynchronous = 0.5;  // rad/s at the input shaft at which a gear goes in
constexpr double kForcedAfter = 2.0;  // s after which it is pressed in nevertheless

double series(double a, double b) noexcept { return a * b / (a + b); }

/// Spring of the clutch disc, from its mode with the gearbox's input shaft.
double clutch_stiffness(const Scenario& scenario, double engine_inertia_kg_m2) noexcept {
    const double second = scenario.dual_mass.secondary_kg_m2;
    const double omega = 2.0 * portable::kPi * scenario.driveline.clutch_hz;
    return omega * omega * series(scenario.driveline.gearbox_kg_m2, second > 0.0 ? second : engine_inertia_kg_m2);
}

double tyre_spring_n_m(const TyreSettings& tyre) noexcept { return tyre.slip_stiffness_n / tyre.relaxation_m; }

}  // namespace

ConverterTorque converter_torque(const ConverterSettings& settings, double pump_rad_s, double turbine_rad_s) noexcept {
    const double c = settings.coupling_ratio;
    ConverterTorque torque;
    if (pump_rad_s <= 0.0 && turbine_rad_s <= 0.0) return torque;
    if (turbine_rad_s <= pump_rad_s) {
        const double r = std::max(0.0, turbine_rad_s / pump_rad_s);
        torque.pump_nm = settings.pump_nm_s2 * pump_rad_s * pump_rad_s * std::min(1.0, (1.0 - r) / (1.0 - c));
        torque.turbine_nm = torque.pump_nm * (1.0 + (settings.torque_ratio - 1.0) * std::max(0.0, 1.0 - r / c));
    } else {
        const double r = std::max(0.0, pump_rad_s / turbine_rad_s);
        torque.pump_nm = -settings.pump_nm_s2 * turbine_rad_s * turbine_rad_s * std::min(1.0, (1.0 - r) / (1.0 - c));
        torque.turbine_nm = torque.pump_nm;
    }
    return torque;
}

Driveline::Driveline(const Scenario& scenario, double engine_inertia_kg_m2)
    : active_(has_driveline(scenario)),
      on_road_(scenario.operation.mode == Operation::road),
      line_(scenario.driveline),
      box_(scenario.gearbox),
      converter_(scenario.converter),
      tyre_(scenario.tyre),
      brake_(scenario.brake),
      speed_kmh_(scenario.operation.speed_kmh),
      radius_m_(scenario.driveline.wheel_radius_m),
      road_(scenario) {
    if (!active_) return;
    const double stiffness = clutch_stiffness(scenario, engine_inertia_kg_m2);
    const double omega = 2.0 * portable::kPi * line_.clutch_hz;
    clutch_ = FrictionJoint::make(stiffness, 2.0 * line_.clutch_damping / omega * stiffness);
    shaft_ = FrictionJoint::make(box_.shaft_nm_rad, box_.shaft_nm_s_rad);
    put_in(1);
}

void Driveline::put_in(int gear) noexcept {
    gear_ = gear;
    if (gear > 0) ratio_ = box_.ratios[static_cast<std::size_t>(gear - 1)] * box_.final_drive;
    state[S::shaft_rad] = 0.0;
    shaft_limit_nm_ = gear > 0 ? kNoLimit : 0.0;
}

void Driveline::start(double time_s, double engine_rad_s) noexcept {
    if (!active_) return;
    state = {};
    int gear = 1;
    next_change_ = 0;
    while (next_change_ < box_.gear.size() && (next_change_ == 0 || box_.gear[next_change_].first <= time_s))
        gear = box_.gear[next_change_++].second;
    put_in(gear);
    phase_ = Phase::engaged;
    clutch_share_ = std::clamp(box_.clutch.at(time_s), 0.0, 1.0);
    clutch_limit_nm_ = clutch_share_ * box_.clutch_nm;
    const bool rolling = gear > 0 && (clutch_share_ > 0.0 || converter_.pump_nm_s2 > 0.0);
    state[S::wheel_rad_s] = rolling ? engine_rad_s / ratio_ : 0.0;
    if (!speed_kmh_.empty()) state[S::wheel_rad_s] = speed_kmh_.at(time_s) / 3.6 / radius_m_;
    state[S::vehicle_m_s] = state[S::wheel_rad_s] * radius_m_;
    state[S::input_rad_s] = gear > 0 ? state[S::wheel_rad_s] * ratio_ : engine_rad_s * clutch_share_;
}

void Driveline::preload(double torque_nm) noexcept {
    if (!active_ || gear_ == 0 || clutch_share_ < 1.0) return;
    state[S::clutch_rad] = torque_nm / clutch_.nm_rad;
    state[S::shaft_rad] = torque_nm * ratio_ / box_.shaft_nm_rad;
    if (tyre_.on) state[S::tyre_n] = torque_nm * ratio_ / radius_m_;
}

void Driveline::begin(Phase phase, double time_s) noexcept {
    phase_ = phase;
    phase_start_s_ = time_s;
}

void Driveline::change_gears(double time_s) noexcept {
    const double spent = time_s - phase_start_s_;
    switch (phase_) {
        case Phase::engaged:
            if (next_change_ < box_.gear.size() && time_s >= box_.gear[next_change_].first)
                begin(Phase::opening, time_s);
            break;
        case Phase::opening:
            if (spent < box_.clutch_open_s) break;
            put_in(box_.gear[next_change_++].second);
            if (gear_ > 0) shaft_limit_nm_ = box_.change_nm * ratio_;
            begin(Phase::changing, time_s);
            break;
        case Phase::changing: {
            const double apart = state[S::input_rad_s] - ratio_ * state[S::wheel_rad_s];
            const bool fits = gear_ == 0 || std::abs(apart) < kSynchronous || spent >= kForcedAfter;
            if (spent < box_.change_s || !fits) break;
            if (gear_ > 0) shaft_limit_nm_ = kNoLimit;
            begin(Phase::closing, time_s);
            break;
        }
        case Phase::closing:
            if (spent >= box_.clutch_close_s) begin(Phase::engaged, time_s);
            break;
    }
}

void Driveline::control(double time_s, double step_s) noexcept {
    if (!active_) return;
    change_gears(time_s);
    const double spent = time_s - phase_start_s_;
    double pressed = 1.0;
    if (phase_ == Phase::opening) pressed = 1.0 - std::min(1.0, spent / std::max(box_.clutch_open_s, 1e-3));
    if (phase_ == Phase::changing) pressed = 0.0;
    if (phase_ == Phase::closing) pressed = std::min(1.0, spent / std::max(box_.clutch_close_s, 1e-3));
    clutch_share_ = std::min(pressed, std::clamp(box_.clutch.at(time_s), 0.0, 1.0));
    clutch_limit_nm_ = clutch_share_ * box_.clutch_nm;
    brake_nm_ = brake_.torque_nm.at(time_s);
    if (road_.rough()) road_.advance(time_s, step_s, vehicle_m_s());
}

double Driveline::resistance_n(double vehicle_m_s) const noexcept {
    if (!on_road_) return 0.0;
    const double sign = portable::tanh(vehicle_m_s / kCreep);
    const double speed = std::abs(vehicle_m_s);
    return sign * (line_.rolling_n + line_.drag_n_s2_m2 * speed * speed) + line_.vehicle_kg * kGravity * line_.grade;
}

double Driveline::slope(const S& at, double rear_rad_s, double load_nm, S& rate) const noexcept {
    const double input = at[S::input_rad_s];
    const double wheel = at[S::wheel_rad_s];
    const FrictionJoint::Now clutch = clutch_.at(at[S::clutch_rad], rear_rad_s - input, clutch_limit_nm_);
    const FrictionJoint::Now shaft = shaft_.at(at[S::shaft_rad], input / ratio_ - wheel, shaft_limit_nm_);
    double to_engine = clutch.torque_nm;
    double to_box = to_engine;
    if (converter_.pump_nm_s2 > 0.0) {
        const ConverterTorque oil = converter_torque(converter_, rear_rad_s, input);
        to_engine += oil.pump_nm;
        to_box += oil.turbine_nm;
    }
    rate[S::clutch_rad] = clutch.twist_rad_s;
    rate[S::shaft_rad] = shaft.twist_rad_s;
    rate[S::input_rad_s] = (to_box - shaft.torque_nm / ratio_) / line_.gearbox_kg_m2;

    const double vehicle = tyre_.on ? at[S::vehicle_m_s] : wheel * radius_m_;
    const double held = load_nm * ratio_ / radius_m_ + resistance_n(vehicle);
    const double braking = brake_nm_ > 0.0 ? brake_nm_ * portable::tanh(vehicle / kCreep) : 0.0;
    if (!tyre_.on) {
        const double inertia = box_.wheel_kg_m2 + line_.vehicle_kg * radius_m_ * radius_m_;
        rate[S::wheel_rad_s] = (shaft.torque_nm - braking - radius_m_ * held) / inertia;
        return -to_engine;
    }
    const double turning = brake_nm_ > 0.0 ? portable::tanh(wheel * radius_m_ / kCreep) : 0.0;
    const double driven_brake = brake_nm_ * brake_.driven_share * turning;
    const double other_brake = braking * (1.0 - brake_.driven_share) / radius_m_;
    const double force = at[S::tyre_n];
    const WheelOnRoad& road = road_.now();  // of a smooth road: nothing
    const double sliding = wheel * (radius_m_ + road.radius_m) - vehicle - at[S::hub_m_s];
    const double grip_n = tyre_.grip * tyre_.axle_kg * kGravity * road.load_share;
    rate[S::tyre_n] =
        std::clamp(tyre_spring_n_m(tyre_) * road.load_share * sliding - std::abs(vehicle) / tyre_.relaxation_m * force,
                   kGripRate * (-grip_n - force), kGripRate * (grip_n - force));
    rate[S::wheel_rad_s] =
        (shaft.torque_nm - driven_brake - force * (radius_m_ + road.arm_m) - road.drag_nm) / box_.wheel_kg_m2;
    if (!road_.rough()) {
        rate[S::vehicle_m_s] = (force - held - other_brake) / line_.vehicle_kg;
        return -to_engine;
    }
    const double bushing = road_.hub_n_m() * at[S::hub_m] + road_.hub_n_s_m() * at[S::hub_m_s];
    rate[S::vehicle_m_s] = (bushing - held - other_brake) / (line_.vehicle_kg - road_.unsprung_kg());
    rate[S::hub_m] = at[S::hub_m_s];
    rate[S::hub_m_s] = (force - road.push_n - bushing) / road_.unsprung_kg() - rate[S::vehicle_m_s];
    return -to_engine;
}

bool Driveline::clutch_slips(double rear_rad_s) const noexcept {
    const double slip = rear_rad_s - state[S::input_rad_s];
    return clutch_.at(state[S::clutch_rad], slip, clutch_limit_nm_).twist_rad_s != slip;
}

double Driveline::fastest_rad_s() const noexcept {
    return std::max({clutch_.rate_1_s(), shaft_.rate_1_s(), kGripRate});
}

double Driveline::inertia_kg_m2() const noexcept {
    const double at_wheels = box_.wheel_kg_m2 + line_.vehicle_kg * radius_m_ * radius_m_;
    return line_.gearbox_kg_m2 + at_wheels / (ratio_ * ratio_);
}

TorsionChain driveline_chain(const Scenario& scenario, const CrankLayout& layout, TorsionChain crank,
                             int gear) noexcept {
    const GearboxSettings& box = scenario.gearbox;
    const double ratio = box.ratios[static_cast<std::size_t>(gear - 1)] * box.final_drive;
    const double square = 1.0 / (ratio * ratio);
    const double radius = scenario.driveline.wheel_radius_m;
    double engine = 0.0;  // all before the clutch but the second flywheel mass, with the reciprocating masses' mean
    CrankLayout bare = layout;
    for (const double inertia : mean_chain(bare, scenario.engine).inertia_kg_m2) engine += inertia;
    if (layout.rear != layout.flywheel) engine -= scenario.dual_mass.secondary_kg_m2;
    if (layout.front > 0) engine -= scenario.crank.damper_kg_m2;
    const auto add = [&](double stiffness, double damping, double inertia) {
        const auto last = static_cast<std::size_t>(crank.masses - 1);
        crank.stiffness_nm_rad[last] = stiffness;
        crank.damping_nm_s_rad[last] = damping;
        crank.inertia_kg_m2[last + 1] = inertia;
        ++crank.masses;
    };
    const double clutch = clutch_stiffness(scenario, engine);
    const double omega = 2.0 * portable::kPi * scenario.driveline.clutch_hz;
    add(clutch, 2.0 * scenario.driveline.clutch_damping / omega * clutch, scenario.driveline.gearbox_kg_m2);
    const double vehicle = scenario.driveline.vehicle_kg * radius * radius;
    const double wheels = box.wheel_kg_m2 + (scenario.tyre.on ? 0.0 : vehicle);
    add(box.shaft_nm_rad * square, box.shaft_nm_s_rad * square, wheels * square);
    if (scenario.tyre.on) add(tyre_spring_n_m(scenario.tyre) * radius * radius * square, 0.0, vehicle * square);
    return crank;
}

}  // namespace kurbel::simulate
