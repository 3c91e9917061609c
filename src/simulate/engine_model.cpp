#include "kurbel/simulate/engine_model.hpp"

#include <algorithm>
#include <cmath>

namespace kurbel::simulate {

namespace {

constexpr double kRadPerDeg = portable::kPi / 180.0;
constexpr double kAccessoryStop = 1.0;  // rad/s over which an accessory's torque vanishes

}  // namespace

EngineModel::EngineModel(const Scenario& scenario)
    : layout_(make_crank_layout(scenario)),
      cylinder_(scenario.engine, scenario.combustion, scenario.gas_exchange),
      friction_(scenario),
      driveline_(scenario, scenario.engine.inertia_kg_m2 +
                               scenario.engine.cylinders * mean_reciprocating_inertia(scenario.engine)),
      accessories_(scenario.accessories),
      fixed_ratio_(scenario.driveline),
      starter_(scenario.starter),
      cylinders_(scenario.engine.cylinders),
      cycle_rad_(scenario.engine.cycle_deg() * kRadPerDeg),
      total_inertia_(layout_.chain.total_inertia_kg_m2() +
                     scenario.engine.cylinders * mean_reciprocating_inertia(scenario.engine)) {
    engine_inertia_ = total_inertia_;
    for (int i = layout_.rear + 1; i < layout_.chain.masses; ++i)
        engine_inertia_ -= layout_.chain.inertia_kg_m2[static_cast<std::size_t>(i)];
    // The highest mode is that of the stiffest gear, the throws' reciprocating masses at a dead centre.
    highest_mode_rad_s_ = layout_.chain.mode_rad_s(layout_.chain.masses - 1);
    if (layout_.hysteresis_nm > 0.0) highest_mode_rad_s_ = std::max(highest_mode_rad_s_, layout_.hysteresis.rate_1_s());
    if (driveline_.active()) highest_mode_rad_s_ = std::max(highest_mode_rad_s_, driveline_.fastest_rad_s());
    const int gears = driveline_.active() ? static_cast<int>(scenario.gearbox.ratios.size()) : 0;
    for (int gear = 1; gear <= gears; ++gear) {
        const TorsionChain chain = driveline_chain(scenario, layout_, layout_.chain, gear);
        highest_mode_rad_s_ = std::max(highest_mode_rad_s_, chain.mode_rad_s(chain.masses - 1));
    }
    for (int i = 0; i < cylinders_; ++i) {
        const auto c = static_cast<std::size_t>(scenario.engine.firing_order[static_cast<std::size_t>(i)] - 1);
        firing_tdc_rad[c] = scenario.engine.firing_tdc_deg[static_cast<std::size_t>(i)] * kRadPerDeg;
    }
}

void EngineModel::start(double start_rad, double start_rad_s, double time_s) noexcept {
    for (int i = 0; i < layout_.chain.masses; ++i) {
        angle_rad[static_cast<std::size_t>(i)] = start_rad;
        speed_rad_s[static_cast<std::size_t>(i)] = start_rad_s;
    }
    for (std::size_t c = 0; c < static_cast<std::size_t>(cylinders_); ++c) {
        const double cycles = std::floor((start_rad - firing_tdc_rad[c]) / cycle_rad_ + 0.5);
        firing_tdc_rad[c] += cycles * cycle_rad_;
    }
    driveline_.start(time_s, start_rad_s);
}

void EngineModel::preload_driveline(double torque_nm) noexcept {
    if (!in_gear()) return;
    const int last = driveline_.active() ? layout_.rear : layout_.vehicle;
    for (int i = layout_.flywheel; i < last; ++i) {
        const auto n = static_cast<std::size_t>(i);
        angle_rad[n + 1] = angle_rad[n] - torque_nm / layout_.chain.stiffness_nm_rad[n];
    }
    driveline_.preload(torque_nm);
}

void EngineModel::control(double time_s, double step_s) noexcept {
    driveline_.control(time_s, step_s);
    accessory_nm = 0.0;
    for (const AccessoryLoad& load : accessories_) {
        const double inside = std::min(time_s - load.from_s, load.to_s - time_s);
        const double share = load.rise_s > 0.0 ? inside / load.rise_s : inside >= 0.0 ? 1.0 : 0.0;
        accessory_nm += load.torque_nm * std::clamp(share, 0.0, 1.0);
    }
}

double EngineModel::vehicle_kmh() const noexcept {
    if (driveline_.active()) return 3.6 * driveline_.vehicle_m_s();
    if (!layout_.in_gear()) return 0.0;
    const double wheel = speed_rad_s[static_cast<std::size_t>(layout_.vehicle)] / fixed_ratio_.ratio;
    return 3.6 * wheel * fixed_ratio_.wheel_radius_m;
}

double EngineModel::longest_step_s(double highest_rad_s) const noexcept {
    return std::min(0.8 / highest_mode_rad_s_, 1.5 * kRadPerDeg / std::max(highest_rad_s, 10.0));
}

double EngineModel::rebase() noexcept {
    if (angle_rad[0] < 100.0 * cycle_rad_) return 0.0;
    const double lower = std::floor(angle_rad[0] / cycle_rad_) * cycle_rad_;
    for (double& angle : angle_rad) angle -= lower;
    for (double& angle : firing_tdc_rad) angle -= lower;
    return lower;
}

void EngineModel::slope(const Stage& at, Slope& out) const noexcept {
    const TorsionChain& chain = layout_.chain;
    const MassArray& angle = at.angle;
    const MassArray& speed = at.speed;
    MassArray torque;  // only the chain's masses are set and read: this is the inner loop of everything
    MassArray inertia;
    for (int i = 0; i < chain.masses; ++i) {
        const auto n = static_cast<std::size_t>(i);
        torque[n] = 0.0;
        inertia[n] = chain.inertia_kg_m2[n];
    }
    for (int i = 0; i + 1 < chain.masses; ++i) {
        const auto n = static_cast<std::size_t>(i);
        const double shaft = chain.stiffness_nm_rad[n] * (angle[n] - angle[n + 1]) +
                             chain.damping_nm_s_rad[n] * (speed[n] - speed[n + 1]);
        torque[n] -= shaft;
        torque[n + 1] += shaft;
    }
    for (std::size_t c = 0; c < static_cast<std::size_t>(cylinders_); ++c) {
        const auto m = static_cast<std::size_t>(layout_.mass_of_cylinder[c]);
        const CylinderTorque t = cylinder_.torque(angle[m] - firing_tdc_rad[c], speed[m], manifold_pa, charge[c]);
        torque[m] += t.gas_nm - t.inertia_slope_kg_m2 * speed[m] * speed[m];
        inertia[m] += t.inertia_kg_m2;
        out.power_w[c] = t.gas_nm * speed[m];
    }
    const double share = 1.0 / layout_.throws;
    for (int i = layout_.front + 1; i <= layout_.front + layout_.throws; ++i) {
        const auto n = static_cast<std::size_t>(i);
        torque[n] -= share * friction_.torque_nm(speed[n]);
    }
    const auto flywheel = static_cast<std::size_t>(layout_.flywheel);
    if (starter_engaged) {
        const double free = starter_.free_rpm * portable::kPi / 30.0;
        const double pull = starter_.stall_nm * starter_gain * (starter_level - speed[flywheel] / free);
        // The pinion's freewheel carries torque one way only.
        if (pull > 0.0) {
            // It lets go over the last 3 % of its torque: a jump would make teeth depend on the time step.
            const double grip = smooth_step(pull / (0.03 * starter_.stall_nm));
            torque[flywheel] += grip * pull;
            inertia[flywheel] += grip * starter_.ratio_inertia_kg_m2;
        }
    }
    const auto front = static_cast<std::size_t>(layout_.front);
    if (accessory_nm != 0.0) torque[front] -= accessory_nm * portable::tanh(speed[front] / kAccessoryStop);
    if (layout_.hysteresis_nm > 0.0) {
        const double slip = speed[flywheel] - speed[flywheel + 1];
        const FrictionJoint::Now dry = layout_.hysteresis.at(at.hysteresis_rad, slip, layout_.hysteresis_nm);
        torque[flywheel] -= dry.torque_nm;
        torque[flywheel + 1] += dry.torque_nm;
        out.hysteresis_rad_s = dry.twist_rad_s;
    }
    if (driveline_.active()) {
        const auto rear = static_cast<std::size_t>(layout_.rear);
        torque[rear] += driveline_.slope(at.line, speed[rear], load_nm, out.line);
    } else {
        torque[static_cast<std::size_t>(layout_.in_gear() ? layout_.vehicle : layout_.flywheel)] -= load_nm;
    }
    for (int i = 0; i < chain.masses; ++i) {
        const auto n = static_cast<std::size_t>(i);
        out.acceleration[n] = torque[n] / inertia[n];
    }
}

/// The state `h` ahead of the present one along `slope`, the angles moving at `speed`.
void EngineModel::look_ahead(const MassArray& speed, const Slope& slope, double h, Stage& stage) const noexcept {
    const auto masses = static_cast<std::size_t>(layout_.chain.masses);
    for (std::size_t i = 0; i < masses; ++i) {
        stage.angle[i] = angle_rad[i] + h * speed[i];
        stage.speed[i] = speed_rad_s[i] + h * slope.acceleration[i];
    }
    if (layout_.hysteresis_nm > 0.0) stage.hysteresis_rad = hysteresis_rad_ + h * slope.hysteresis_rad_s;
    if (!driveline_.active()) return;
    for (std::size_t i = 0; i < DrivelineState::parts; ++i)
        stage.line.value[i] = driveline_.state.value[i] + h * slope.line.value[i];
}

void EngineModel::step(double h) noexcept {
    const auto masses = static_cast<std::size_t>(layout_.chain.masses);
    Slope k1;
    Slope k2;
    Slope k3;
    Slope k4;
    Stage at1{angle_rad, speed_rad_s, driveline_.state, hysteresis_rad_};
    Stage at2;
    Stage at3;
    Stage at4;
    slope(at1, k1);
    look_ahead(at1.speed, k1, 0.5 * h, at2);
    slope(at2, k2);
    look_ahead(at2.speed, k2, 0.5 * h, at3);
    slope(at3, k3);
    look_ahead(at3.speed, k3, h, at4);
    slope(at4, k4);
    const double sixth = h / 6.0;
    for (std::size_t i = 0; i < masses; ++i) {
        angle_rad[i] += sixth * (at1.speed[i] + 2.0 * (at2.speed[i] + at3.speed[i]) + at4.speed[i]);
        speed_rad_s[i] +=
            sixth * (k1.acceleration[i] + 2.0 * (k2.acceleration[i] + k3.acceleration[i]) + k4.acceleration[i]);
    }
    for (std::size_t c = 0; c < static_cast<std::size_t>(cylinders_); ++c)
        work_j[c] += sixth * (k1.power_w[c] + 2.0 * (k2.power_w[c] + k3.power_w[c]) + k4.power_w[c]);
    if (layout_.hysteresis_nm > 0.0) {
        hysteresis_rad_ +=
            sixth * (k1.hysteresis_rad_s + 2.0 * (k2.hysteresis_rad_s + k3.hysteresis_rad_s) + k4.hysteresis_rad_s);
    }
    if (!driveline_.active()) return;
    for (std::size_t i = 0; i < DrivelineState::parts; ++i)
        driveline_.state.value[i] +=
            sixth * (k1.line.value[i] + 2.0 * (k2.line.value[i] + k3.line.value[i]) + k4.line.value[i]);
}

}  // namespace kurbel::simulate
