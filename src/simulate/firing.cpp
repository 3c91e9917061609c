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
    Random charge(machine_seed(scenario_), stream::kChargeSpread);
    const CombustionSettings& combustion = scenario_.combustion;
    const double clearance = model_.geometry().clearance_m3;
    for (std::size_t c = 0; c < static_cast<std::size_t>(scenario_.engine.cylinders); ++c) {
        Cylinder& cylinder = cylinder_[c];
        cylinder.random = Random(scenario_.seed, stream::kCylinder + c);
        cylinder.slow = Random(scenario_.seed, stream::kSlowBurn + c);
        cylinder.factor = 1.0 + combustion.spread * spread.normal();
        cylinder.charge_factor = std::max(0.1, 1.0 + combustion.charge_spread * charge.normal());
        if (c < combustion.cylinder_factor.size()) cylinder.factor = combustion.cylinder_factor[c];
        if (c < combustion.charge_factor.size()) cylinder.charge_factor = combustion.charge_factor[c];
        if (c < combustion.leak_mm2.size())
            cylinder.leak_rad_s = 1e-6 * combustion.leak_mm2[c] * kLeakSpeed / clearance;
    }
}

bool FiringMaker::fuel_is_cut(int cylinder, double time_s) const noexcept {
    return std::any_of(scenario_.fuel_cuts.begin(), scenario_.fuel_cuts.end(), [&](const FuelCut& cut) {
        return (cut.cylinder == 0 || cut.cylinder == cylinder) && time_s >= cut.from_s && time_s < cut.to_s;
    });
}

const Deactivation* FiringMaker::deactivation(int cylinder, double time_s) const noexcept {
    for (const Deactivation& rule : scenario_.deactivations) {
        const bool named = std::find(rule.cylinders.begin(), rule.cylinders.end(), cylinder) != rule.cylinders.end();
        if (named && time_s >= rule.from_s && time_s < rule.to_s) return &rule;
    }
    return nullptr;
}

FiringMaker::Trapped FiringMaker::gas(const Cylinder& cylinder, double manifold_pa, double speed_rad_s,
                                      const Surroundings& around) const noexcept {
    const CombustionSettings& combustion = scenario_.combustion;
    Trapped trapped;
    trapped.pa = manifold_pa * cylinder.charge_factor;
    const double residual = model_.residual(trapped.pa, around.exhaust_rise_pa, speed_rad_s);
    const double fresh = 1.0 - residual;
    // Residual gas is what the last cycle left; gas led back on purpose comes from all cylinders and counts as burnt.
    trapped.mixture = fresh * (1.0 - combustion.egr) + combustion.carry_over * residual * cylinder.mixture;
    trapped.burnt_gas = residual * cylinder.burnt_gas + fresh * combustion.egr;
    trapped.excess = trapped.burnt_gas - model_.usual_residual(trapped.pa);
    return trapped;
}

BurnShape FiringMaker::shape(Cylinder& cylinder, double deviation, double phase_deg, double growth,
                             const Surroundings& around, double& ca50_deg) const noexcept {
    const CombustionSettings& combustion = scenario_.combustion;
    // A weak burn is also a slow and late one.
    const double slowness = std::clamp(1.0 - 0.8 * deviation, 0.7, 1.6);
    const double usual = burn_duration_rad(combustion, around.load) * burn_growth(combustion, around.retard_deg);
    const double late = 0.25 * (slowness - 1.0) * usual;
    const double ca50 = (combustion.ca50_deg + phase_deg + around.retard_deg) * kRadPerDeg + late;
    const double duration = usual * slowness;
    BurnShape burn{ca50 - kWiebeHalf * duration, duration};
    if (combustion.premixed_share > 0.0) {
        burn.premixed_share = combustion.premixed_share;
        burn.premixed_rad = combustion.premixed_deg * kRadPerDeg;
        burn = CylinderModel::centred(ca50, burn);
    }
    ca50_deg = ca50 / kRadPerDeg;
    const double share = slow_share_at(combustion, around.load) * growth;
    if (share > 0.0) {
        const double hit = cylinder.slow.uniform();
        const double normal = cylinder.slow.normal();
        // The spark does not know: a slow burn starts when it would have, and lasts.
        if (hit < share) {
            const double longer =
                std::max(1.0, combustion.slow_factor * portable::exp(combustion.slow_spread * normal));
            ca50_deg += (longer - 1.0) * (ca50 - burn.start_rad) / kRadPerDeg;
            burn.duration_rad *= longer;
            burn.premixed_rad *= longer;
        }
    }
    return burn;
}

Firing FiringMaker::trap(std::size_t c, double time_s, double closing_s, double speed_rad_s, const Surroundings& around,
                         Charge& charge) {
    Cylinder& cylinder = cylinder_[c];
    const CombustionSettings& combustion = scenario_.combustion;
    const int number = static_cast<int>(c) + 1;
    const double work_draw = cylinder.random.normal();
    const double phase_deg = combustion.ca50_scatter_deg * cylinder.random.normal();
    const MisfirePlan::Loss loss = misfires_.next_loss(number, time_s, around.load, speed_rad_s / kRadPerRpm);
    const Deactivation* closed = scenario_.deactivations.empty() ? nullptr : deactivation(number, time_s);
    Firing firing;
    firing.severity = loss.severity;
    firing.fuel_cut = around.no_fuel || fuel_is_cut(number, time_s) || closed != nullptr;

    charge.leak_rad_s = cylinder.leak_rad_s;
    charge.closing_rad_s = std::max(speed_rad_s, 1.0);
    charge.exhaust_rise_pa = around.exhaust_rise_pa;
    charge.reached_rad = -1e9;
    charge.sealed = closed != nullptr;
    charge.heat_j = 0.0;
    if (charge.sealed) {
        charge.trapped_pa = 1e5 * closed->bottom_bar;
        cylinder.mixture = 0.0;
        return firing;
    }
    const Trapped trapped = gas(cylinder, around.manifold_pa_at(closing_s), speed_rad_s, around);
    charge.trapped_pa = trapped.pa;
    firing.burnt_gas = trapped.burnt_gas;

    const double usual = scatter_at(combustion, around.load);
    const double scatter = std::max(0.0, usual + combustion.scatter_per_retard_deg * std::max(0.0, around.retard_deg) +
                                             combustion.scatter_per_dilution * trapped.excess);
    const double deviation = scatter * scatter_(work_draw);
    double nominal = model_.heat_j(trapped.pa, trapped.mixture);
    if (!combustion.throttled) nominal *= std::max(0.0, around.load);
    if (combustion.film_share > 0.0) {
        const double cycle_s = model_.cycle_rad() / charge.closing_rad_s;
        const Operation mode = scenario_.operation.mode;
        const bool dry = mode == Operation::cranking || mode == Operation::start;
        const double fuel = cylinder.film.reaches(combustion, firing.fuel_cut ? 0.0 : nominal, closing_s, cycle_s, dry);
        nominal = std::min(nominal, fuel);  // air limits what a rich mixture releases
    }
    const double full = firing.fuel_cut ? 0.0 : nominal * cylinder.factor * std::max(0.0, 1.0 + deviation);
    charge.heat_j = full * (1.0 - firing.severity);
    double lost = firing.fuel_cut ? 1.0 : firing.severity;
    if (charge.heat_j > 0.0) {
        const double growth = usual > 0.0 ? scatter / usual : 1.0;
        const BurnShape burn = shape(cylinder, deviation, phase_deg, growth, around, firing.ca50_deg);
        const double share = model_.prepare_burn(burn, charge.burn);
        firing.burnt = share * (1.0 - firing.severity);
        firing.heat_j = charge.heat_j * share;
        lost = 1.0 - firing.burnt;
    }
    const double kept = firing.fuel_cut ? 0.0 : loss.keeps_mixture ? lost : std::max(0.0, lost - firing.severity);
    cylinder.mixture = trapped.mixture * kept;
    cylinder.burnt_gas = trapped.burnt_gas + trapped.mixture * (1.0 - lost);
    return firing;
}

}  // namespace kurbel::simulate
