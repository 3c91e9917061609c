#include "kurbel/simulate/engine_model.hpp"

#include <algorithm>
#include <cmath>

namespace kurbel::simulate {

namespace {

constexpr double kRadPerDeg = portable::kPi / 180.0;

}  // namespace

EngineModel::EngineModel(const Scenario& scenario)
    : layout_(make_crank_layout(scenario)),
      cylinder_(scenario.engine, scenario.combustion, scenario.gas_exchange),
      friction_(scenario),
      starter_(scenario.starter),
      cylinders_(scenario.engine.cylinders),
      cycle_rad_(scenario.engine.cycle_deg() * kRadPerDeg),
      total_inertia_(layout_.chain.total_inertia_kg_m2() +
                     scenario.engine.cylinders * mean_reciprocating_inertia(scenario.engine)) {
    for (int i = 0; i < cylinders_; ++i) {
        const auto c = static_cast<std::size_t>(scenario.engine.firing_order[static_cast<std::size_t>(i)] - 1);
        firing_tdc_rad[c] = scenario.engine.firing_tdc_deg[static_cast<std::size_t>(i)] * kRadPerDeg;
    }
}

void EngineModel::start(double start_rad, double start_rad_s) noexcept {
    for (int i = 0; i < layout_.chain.masses; ++i) {
        angle_rad[static_cast<std::size_t>(i)] = start_rad;
        speed_rad_s[static_cast<std::size_t>(i)] = start_rad_s;
    }
    for (std::size_t c = 0; c < static_cast<std::size_t>(cylinders_); ++c) {
        const double cycles = std::floor((start_rad - firing_tdc_rad[c]) / cycle_rad_ + 0.5);
        firing_tdc_rad[c] += cycles * cycle_rad_;
    }
}

void EngineModel::preload_driveline(double torque_nm) noexcept {
    if (!layout_.in_gear()) return;
    for (int i = layout_.flywheel; i < layout_.vehicle; ++i) {
        const auto n = static_cast<std::size_t>(i);
        angle_rad[n + 1] = angle_rad[n] - torque_nm / layout_.chain.stiffness_nm_rad[n];
    }
}

double EngineModel::longest_step_s(double highest_rad_s) const noexcept {
    const double highest_mode = layout_.chain.mode_rad_s(layout_.chain.masses - 1);
    return std::min(0.8 / highest_mode, 1.5 * kRadPerDeg / std::max(highest_rad_s, 10.0));
}

double EngineModel::rebase() noexcept {
    if (angle_rad[0] < 100.0 * cycle_rad_) return 0.0;
    const double lower = std::floor(angle_rad[0] / cycle_rad_) * cycle_rad_;
    for (double& angle : angle_rad) angle -= lower;
    for (double& angle : firing_tdc_rad) angle -= lower;
    return lower;
}

void EngineModel::slope(const MassArray& angle, const MassArray& speed, Slope& out) const noexcept {
    const TorsionChain& chain = layout_.chain;
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
    for (int i = 1; i <= layout_.throws; ++i) {
        const auto n = static_cast<std::size_t>(i);
        torque[n] -= share * friction_.torque_nm(speed[n]);
    }
    const auto flywheel = static_cast<std::size_t>(layout_.flywheel);
    if (starter_engaged) {
        const double free = starter_.free_rpm * portable::kPi / 30.0;
        const double pull = starter_.stall_nm * (1.0 - speed[flywheel] / free);
        // The pinion's freewheel carries torque one way only.
        if (pull > 0.0) {
            torque[flywheel] += pull;
            inertia[flywheel] += starter_.ratio_inertia_kg_m2;
        }
    }
    torque[static_cast<std::size_t>(layout_.in_gear() ? layout_.vehicle : layout_.flywheel)] -= load_nm;
    for (int i = 0; i < chain.masses; ++i) {
        const auto n = static_cast<std::size_t>(i);
        out.acceleration[n] = torque[n] / inertia[n];
    }
}

void EngineModel::step(double h) noexcept {
    const auto masses = static_cast<std::size_t>(layout_.chain.masses);
    Slope k1;
    Slope k2;
    Slope k3;
    Slope k4;
    MassArray angle{};
    MassArray speed2{};
    MassArray speed3{};
    MassArray speed4{};
    slope(angle_rad, speed_rad_s, k1);
    for (std::size_t i = 0; i < masses; ++i) {
        angle[i] = angle_rad[i] + 0.5 * h * speed_rad_s[i];
        speed2[i] = speed_rad_s[i] + 0.5 * h * k1.acceleration[i];
    }
    slope(angle, speed2, k2);
    for (std::size_t i = 0; i < masses; ++i) {
        angle[i] = angle_rad[i] + 0.5 * h * speed2[i];
        speed3[i] = speed_rad_s[i] + 0.5 * h * k2.acceleration[i];
    }
    slope(angle, speed3, k3);
    for (std::size_t i = 0; i < masses; ++i) {
        angle[i] = angle_rad[i] + h * speed3[i];
        speed4[i] = speed_rad_s[i] + h * k3.acceleration[i];
    }
    slope(angle, speed4, k4);
    const double sixth = h / 6.0;
    for (std::size_t i = 0; i < masses; ++i) {
        angle_rad[i] += sixth * (speed_rad_s[i] + 2.0 * (speed2[i] + speed3[i]) + speed4[i]);
        speed_rad_s[i] +=
            sixth * (k1.acceleration[i] + 2.0 * (k2.acceleration[i] + k3.acceleration[i]) + k4.acceleration[i]);
    }
    for (std::size_t c = 0; c < static_cast<std::size_t>(cylinders_); ++c)
        work_j[c] += sixth * (k1.power_w[c] + 2.0 * (k2.power_w[c] + k3.power_w[c]) + k4.power_w[c]);
}

}  // namespace kurbel::simulate
