#include "simulate/firing.hpp"

#include <algorithm>

#include "kurbel/simulate/mean_torque.hpp"
#include "simulate/streams.hpp"

namespace kurbel::simulate {

namespace {

constexpr double kRadPerDeg = portable::kPi / 180.0;
constexpr double kRadPerRpm = portable::kPi / 30.0;

/// Effective choked outflow speed past a leak: 0.685 sqrt(R T) at 600 K (Heywood 1988, app. C, eq. for choked flow; memory).
constexpr double kLeakSpeed = 284.0;

}  // namespace

FiringMaker::FiringMaker(const Scenario& scenario, const EngineModel& model)
    : scenario_(scenario),
      model_(model.cylinder()),
      misfires_(scenario.misfires, scenario.seed),
      scatter_(scenario.combustion.scatter_skewness) {
    Random spread(machine_seed(scenario_), stream::kEngine);
    const CombustionSettings& combustion = scenario_.combustion;
    const double clearance = model_.geometry().clearance_m3;
    for (std::size_t c = 0; c < static_cast<std::size_t>(scenario_.engine.cylinders); ++c) {
        Cylinder& cylinder = cylinder_[c];
        cylinder.random = Random(scenario_.seed, stream::kCylinder + c);
        cylinder.factor = 1.0 + combustion.spread * spread.normal();
        if (c < combustion.cylinder_factor.size()) cylinder.factor = combustion.cylinder_factor[c];
        if (c < combustion.leak_mm2.size())
            cylinder.leak_rad_s = 1e-6 * combustion.leak_mm2[c] * kLeakSpeed / clearance;
    }
}

bool FiringMaker::fuel_is_cut(int cylinder, double time_s) const noexcept {
    return std::any_of(scenario_.fuel_cuts.begin(), scenario_.fuel_cuts.end(), [&](const FuelCut& cut) {
        return (cut.cylinder == 0 || cut.cylinder == cylinder) && time_s >= cut.from_s && time_s < cut.to_s;
    });
}

Firing FiringMaker::trap(std::size_t c, double time_s, double speed_rad_s, const Surroundings& around, Charge& charge) {
    Cylinder& cylinder = cylinder_[c];
    const CombustionSettings& combustion = scenario_.combustion;
    const int number = static_cast<int>(c) + 1;
    const double deviation = scatter_at(combustion, around.load) * scatter_(cylinder.random.normal());
    const double phase_deg = combustion.ca50_scatter_deg * cylinder.random.normal();
    Firing firing;
    firing.severity = misfires_.next(number, time_s, around.load, speed_rad_s / kRadPerRpm);
    firing.fuel_cut = fuel_is_cut(number, time_s);

    charge.trapped_pa = around.manifold_pa;
    charge.leak_rad_s = cylinder.leak_rad_s;
    charge.closing_rad_s = std::max(speed_rad_s, 1.0);
    const double nominal = model_.nominal_heat_j(charge.trapped_pa, around.load);
    charge.heat_j =
        firing.fuel_cut ? 0.0 : nominal * cylinder.factor * std::max(0.0, 1.0 + deviation) * (1.0 - firing.severity);
    if (charge.heat_j > 0.0) {
        // A weak burn is also a slow and late one.
        const double slowness = std::clamp(1.0 - 0.8 * deviation, 0.7, 1.6);
        const double duration = burn_duration_rad(combustion, around.load) * slowness;
        const double late = 0.25 * (slowness - 1.0) * burn_duration_rad(combustion, around.load);
        const double ca50 = (combustion.ca50_deg + phase_deg) * kRadPerDeg + late;
        model_.prepare_burn(ca50, duration, charge.burn);
    }
    return firing;
}

}  // namespace kurbel::simulate
