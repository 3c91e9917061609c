#include "kurbel/simulate/mean_torque.hpp"

#include <algorithm>

namespace kurbel::simulate {

namespace {

constexpr double kRadPerDeg = portable::kPi / 180.0;
constexpr double kLowLoad = 0.25;  // ends of the range over which burn and scatter change
constexpr double kHighLoad = 0.6;

/// 1 at low load, 0 at high load.
double low_share(double load) noexcept { return std::clamp((kHighLoad - load) / (kHighLoad - kLowLoad), 0.0, 1.0); }

}  // namespace

Friction::Friction(const Scenario& scenario) noexcept {
    const double displacement = SliderCrank::from(scenario.engine).displacement_m3() * scenario.engine.cylinders;
    const double cycle = scenario.engine.cycle_deg() * kRadPerDeg;
    const double nm_per_bar = 1e5 * displacement / cycle;
    const double per_rad_s = 60.0 / (2.0 * portable::kPi) / 1000.0;  // thousand rpm
    const FrictionSettings& friction = scenario.friction;
    accessories_ = friction.accessories_nm;
    constant_ = friction.constant_bar * nm_per_bar + friction.accessories_nm;
    linear_ = friction.linear_bar * nm_per_bar * per_rad_s;
    square_ = friction.square_bar * nm_per_bar * per_rad_s * per_rad_s;
}

double burn_duration_rad(const CombustionSettings& combustion, double load) noexcept {
    return (combustion.burn_deg + (combustion.burn_low_load_deg - combustion.burn_deg) * low_share(load)) * kRadPerDeg;
}

double burn_growth(const CombustionSettings& combustion, double retard_deg) noexcept {
    return std::max(0.3, 1.0 + combustion.burn_growth_per_deg * retard_deg);
}

double scatter_at(const CombustionSettings& combustion, double load) noexcept {
    return combustion.scatter + (combustion.scatter_low_load - combustion.scatter) * low_share(load);
}

double slow_share_at(const CombustionSettings& combustion, double load) noexcept {
    return combustion.slow_share + (combustion.slow_share_low_load - combustion.slow_share) * low_share(load);
}

double manifold_pa(const CombustionSettings& combustion, double load) noexcept {
    return 1e5 * combustion.ambient_bar * (combustion.throttled ? load : 1.0);
}

Charge nominal_charge(const Scenario& scenario, const CylinderModel& cylinder, double load) {
    const CombustionSettings& combustion = scenario.combustion;
    Charge charge;
    charge.trapped_pa = manifold_pa(combustion, load);
    charge.heat_j = cylinder.nominal_heat_j(charge.trapped_pa, load) * (1.0 - combustion.egr);
    BurnShape shape{combustion.ca50_deg * kRadPerDeg - kWiebeHalf * burn_duration_rad(combustion, load),
                    burn_duration_rad(combustion, load)};
    if (combustion.premixed_share > 0.0) {
        shape.premixed_share = combustion.premixed_share;
        shape.premixed_rad = combustion.premixed_deg * kRadPerDeg;
        shape = CylinderModel::centred(combustion.ca50_deg * kRadPerDeg, shape);
    }
    static_cast<void>(cylinder.prepare_burn(shape, charge.burn));
    return charge;
}

double friction_factor(const FrictionSettings& friction, double coolant_c) noexcept {
    if (friction.cold_exponent <= 0.0) return 1.0;
    // ln(viscosity) = a + b/(T + 113) through 65 mm2/s at 40 C and 10.5 mm2/s at 100 C.
    const double b = 990.3;
    const double warm = b / (90.0 + 113.0);
    const double factor = portable::exp(friction.cold_exponent * (b / (std::max(coolant_c, -40.0) + 113.0) - warm));
    return std::min(factor, 8.0);  // beyond, nothing turns
}

SparkEfficiency::SparkEfficiency(const Scenario& scenario, const CylinderModel& cylinder) {
    constexpr double kLoad = 0.35;
    constexpr double kSpeed = 100.0;
    Charge charge = nominal_charge(scenario, cylinder, kLoad);
    const double best = cylinder.cycle_work_j(kSpeed, charge.trapped_pa, charge);
    Charge cold = charge;
    cold.heat_j = 0.0;
    const double none = cylinder.cycle_work_j(kSpeed, charge.trapped_pa, cold);
    const CombustionSettings& combustion = scenario.combustion;
    for (std::size_t i = 0; i < kPoints; ++i) {
        const double retard = kFirstDeg + kStepDeg * static_cast<double>(i);
        const double duration = burn_duration_rad(combustion, kLoad) * burn_growth(combustion, retard);
        cylinder.prepare_burn((combustion.ca50_deg + retard) * kRadPerDeg, duration, charge.burn);
        value_[i] = (cylinder.cycle_work_j(kSpeed, charge.trapped_pa, charge) - none) / (best - none);
    }
}

double SparkEfficiency::at(double retard_deg) const noexcept {
    const double x = std::clamp((retard_deg - kFirstDeg) / kStepDeg, 0.0, static_cast<double>(kPoints - 1));
    const std::size_t i = std::min(static_cast<std::size_t>(x), kPoints - 2);
    return std::max(0.1, value_[i] + (value_[i + 1] - value_[i]) * (x - static_cast<double>(i)));
}

MeanTorque::MeanTorque(const Scenario& scenario, const CylinderModel& cylinder, const Friction& friction)
    : friction_(friction), accessories_nm_(scenario.friction.accessories_nm) {
    const double highest = std::max(scenario.operation.speed_rpm.highest() * 1.3, 1500.0) * portable::kPi / 30.0;
    speed_step_ = highest / (kSpeeds - 1);
    for (std::size_t l = 0; l < kLoads.size(); ++l) {
        Charge charge = nominal_charge(scenario, cylinder, kLoads[l]);
        const double heat = charge.heat_j;
        for (std::size_t s = 0; s < kSpeeds; ++s) {
            const double speed = std::max(1.0, static_cast<double>(s) * speed_step_);
            const double per_work = scenario.engine.cylinders / cylinder.cycle_rad();
            const double lost = friction.torque_nm(speed);
            charge.heat_j = heat;
            fired_[l][s] = cylinder.cycle_work_j(speed, charge.trapped_pa, charge) * per_work - lost;
            charge.heat_j = 0.0;
            motored_[l][s] = cylinder.cycle_work_j(speed, charge.trapped_pa, charge) * per_work - lost;
        }
    }
}

double MeanTorque::at_load(const Table& table, std::size_t load, double speed_rad_s) const noexcept {
    const double x = std::clamp(speed_rad_s / speed_step_, 0.0, static_cast<double>(kSpeeds - 1));
    const std::size_t i = std::min(static_cast<std::size_t>(x), kSpeeds - 2);
    const double t = x - static_cast<double>(i);
    return table[load][i] * (1.0 - t) + table[load][i + 1] * t;
}

double MeanTorque::at(const Table& table, double load, double speed_rad_s) const noexcept {
    std::size_t i = 0;
    while (i + 2 < kLoads.size() && load > kLoads[i + 1]) ++i;
    const double low = at_load(table, i, speed_rad_s);
    return low + (at_load(table, i + 1, speed_rad_s) - low) * (load - kLoads[i]) / (kLoads[i + 1] - kLoads[i]);
}

double MeanTorque::lost_nm(double speed_rad_s) const noexcept {
    return more_friction_ * (friction_.torque_nm(speed_rad_s) - accessories_nm_);
}

double MeanTorque::fired_at(std::size_t load, double speed_rad_s) const noexcept {
    const double fired = at_load(fired_, load, speed_rad_s);
    if (efficiency_ == 1.0 && more_friction_ == 0.0) return fired;
    const double motored = at_load(motored_, load, speed_rad_s);
    return motored + efficiency_ * (fired - motored) - lost_nm(speed_rad_s);
}

double MeanTorque::torque_nm(double load, double speed_rad_s) const noexcept {
    const double fired = at(fired_, load, speed_rad_s);
    if (efficiency_ == 1.0 && more_friction_ == 0.0) return fired;
    const double motored = at(motored_, load, speed_rad_s);
    return motored + efficiency_ * (fired - motored) - lost_nm(speed_rad_s);
}

double MeanTorque::motored_nm(double load, double speed_rad_s) const noexcept {
    const double motored = at(motored_, load, speed_rad_s);
    return more_friction_ == 0.0 ? motored : motored - lost_nm(speed_rad_s);
}

double MeanTorque::load_for(double torque_nm, double speed_rad_s) const noexcept {
    std::size_t i = 0;
    while (i + 2 < kLoads.size() && torque_nm > fired_at(i + 1, speed_rad_s)) ++i;
    const double low = fired_at(i, speed_rad_s);
    const double high = fired_at(i + 1, speed_rad_s);
    return kLoads[i] + (kLoads[i + 1] - kLoads[i]) * (torque_nm - low) / (high - low);
}

}  // namespace kurbel::simulate
