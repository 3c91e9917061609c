#include "kurbel/simulate/crank.hpp"

#include "kurbel/core/crank_pins.hpp"

namespace kurbel::simulate {

namespace {

constexpr double kTwoPi = 2.0 * portable::kPi;
/// Dry friction of a dual-mass flywheel sticks over this twist before it slips.
constexpr double kStickRad = 1.0 * portable::kPi / 180.0;

double series(double a, double b) noexcept { return a * b / (a + b); }

void set_link(TorsionChain& chain, int index, double inertia, double hz, double ratio) noexcept {
    const double omega = kTwoPi * hz;
    chain.stiffness_nm_rad[static_cast<std::size_t>(index)] = omega * omega * inertia;
    chain.damping_nm_s_rad[static_cast<std::size_t>(index)] = 2.0 * ratio * omega * inertia;
}

/// Fills pulley, throws and flywheel and scales the shafts to the wanted first mode.
void make_crank(const Scenario& scenario, CrankLayout& layout) noexcept {
    const EngineConfig& engine = scenario.engine;
    const CrankSettings& crank = scenario.crank;
    TorsionChain& chain = layout.chain;
    const CrankPins pins(engine);
    const int highest = pins.count();
    for (int c = 0; c < engine.cylinders; ++c) layout.mass_of_cylinder[static_cast<std::size_t>(c)] = pins.of(c + 1);
    layout.throws = highest;
    layout.flywheel = highest + 1;
    chain.masses = highest + 2;
    const double total = engine.inertia_kg_m2;
    const auto flywheel = static_cast<std::size_t>(layout.flywheel);
    chain.inertia_kg_m2[0] = crank.pulley_share * total;
    for (int i = 1; i <= highest; ++i)
        chain.inertia_kg_m2[static_cast<std::size_t>(i)] = crank.throws_share * total / highest;
    chain.inertia_kg_m2[flywheel] = (1.0 - crank.pulley_share - crank.throws_share) * total;
    for (int i = 0; i <= highest; ++i) chain.stiffness_nm_rad[static_cast<std::size_t>(i)] = 1.0;
    chain.stiffness_nm_rad[0] = crank.pulley_stiffness_share;

    // The mode is that of the chain with mean reciprocating inertia on its throws.
    const TorsionChain mean = mean_chain(layout, engine);
    const double wanted = kTwoPi * crank.first_torsion_hz;
    const double unit = mean.mode_rad_s(1);
    chain.scale_stiffness(0, highest + 1, wanted * wanted / (unit * unit));
    for (int i = 0; i <= highest; ++i)
        chain.damping_nm_s_rad[static_cast<std::size_t>(i)] =
            2.0 * crank.damping_ratio / wanted * chain.stiffness_nm_rad[static_cast<std::size_t>(i)];
}

/// Den Hartog's tuning of a damper on the pulley against the first mode.
double optimal_damper_hz(const Scenario& scenario, const CrankLayout& layout) noexcept {
    const double hz = scenario.crank.first_torsion_hz;
    const double felt = mean_chain(layout, scenario.engine).modal_inertia_kg_m2(kTwoPi * hz);
    return hz / (1.0 + scenario.crank.damper_kg_m2 / felt);
}

/// Puts the damper ring before the pulley: every other mass moves one place back.
void add_damper(const Scenario& scenario, CrankLayout& layout) noexcept {
    const CrankSettings& crank = scenario.crank;
    const double hz = crank.damper_hz > 0.0 ? crank.damper_hz : optimal_damper_hz(scenario, layout);
    TorsionChain& chain = layout.chain;
    for (int i = chain.masses; i > 0; --i) {
        const auto n = static_cast<std::size_t>(i);
        chain.inertia_kg_m2[n] = chain.inertia_kg_m2[n - 1];
        chain.stiffness_nm_rad[n] = chain.stiffness_nm_rad[n - 1];
        chain.damping_nm_s_rad[n] = chain.damping_nm_s_rad[n - 1];
    }
    ++chain.masses;
    chain.inertia_kg_m2[0] = crank.damper_kg_m2;
    set_link(chain, 0, crank.damper_kg_m2, hz, crank.damper_damping);
    layout.front = 1;
    ++layout.flywheel;
    for (int c = 0; c < scenario.engine.cylinders; ++c) ++layout.mass_of_cylinder[static_cast<std::size_t>(c)];
}

/// Hangs the second flywheel mass on its springs.
void add_second_mass(const Scenario& scenario, double engine_inertia_kg_m2, CrankLayout& layout) noexcept {
    const DualMassSettings& dual = scenario.dual_mass;
    TorsionChain& chain = layout.chain;
    layout.rear = layout.flywheel + 1;
    chain.inertia_kg_m2[static_cast<std::size_t>(layout.rear)] = dual.secondary_kg_m2;
    chain.masses = layout.rear + 1;
    const double behind = dual.secondary_kg_m2 + scenario.driveline.gearbox_kg_m2;
    set_link(chain, layout.flywheel, series(engine_inertia_kg_m2, behind), dual.hz, dual.damping_ratio);
    layout.hysteresis_nm = dual.hysteresis_nm;
    layout.hysteresis = FrictionJoint::make(dual.hysteresis_nm / kStickRad, 0.0);
}

/// Hangs gearbox and vehicle behind the clutch. Each spring is set from its mode as if the other were rigid or absent,
/// which is close while shuffle lies far below the clutch mode.
void add_fixed_ratio(const Scenario& scenario, double engine_inertia_kg_m2, CrankLayout& layout) noexcept {
    const DrivelineSettings& line = scenario.driveline;
    TorsionChain& chain = layout.chain;
    layout.gearbox = layout.rear + 1;
    layout.vehicle = layout.rear + 2;
    chain.masses = layout.vehicle + 1;
    const double arm_m = line.wheel_radius_m / line.ratio;
    layout.vehicle_inertia_kg_m2 = line.vehicle_kg * arm_m * arm_m;
    const auto rear = static_cast<std::size_t>(layout.rear);
    chain.inertia_kg_m2[rear + 1] = line.gearbox_kg_m2;
    chain.inertia_kg_m2[rear + 2] = layout.vehicle_inertia_kg_m2;
    const double second = scenario.dual_mass.secondary_kg_m2;
    const double before = second > 0.0 ? second : engine_inertia_kg_m2;  // what the clutch springs see as fixed
    set_link(chain, layout.rear, series(line.gearbox_kg_m2, before), line.clutch_hz, line.clutch_damping);
    set_link(chain, layout.gearbox,
             series(engine_inertia_kg_m2 + second + line.gearbox_kg_m2, layout.vehicle_inertia_kg_m2), line.shuffle_hz,
             line.shuffle_damping);
}

}  // namespace

double mean_reciprocating_inertia(const EngineConfig& engine) noexcept {
    const SliderCrank geometry = SliderCrank::from(engine);
    double sum = 0.0;
    constexpr int kPoints = 360;
    for (int i = 0; i < kPoints; ++i) {
        const double slope = geometry.motion(kTwoPi * i / kPoints).slope_m;
        sum += slope * slope;
    }
    return engine.reciprocating_kg * sum / kPoints;
}

TorsionChain mean_chain(const CrankLayout& layout, const EngineConfig& engine) noexcept {
    TorsionChain mean = layout.chain;
    const double reciprocating = mean_reciprocating_inertia(engine);
    for (int c = 0; c < engine.cylinders; ++c)
        mean.inertia_kg_m2[static_cast<std::size_t>(layout.mass_of_cylinder[static_cast<std::size_t>(c)])] +=
            reciprocating;
    return mean;
}

CrankLayout make_crank_layout(const Scenario& scenario) noexcept {
    CrankLayout layout;
    make_crank(scenario, layout);
    const double engine_inertia =
        layout.chain.total_inertia_kg_m2() + scenario.engine.cylinders * mean_reciprocating_inertia(scenario.engine);
    if (scenario.crank.damper_kg_m2 > 0.0) add_damper(scenario, layout);
    layout.rear = layout.flywheel;
    if (scenario.dual_mass.secondary_kg_m2 > 0.0) add_second_mass(scenario, engine_inertia, layout);
    const Operation mode = scenario.operation.mode;
    if ((mode == Operation::hold || mode == Operation::road) && !has_driveline(scenario))
        add_fixed_ratio(scenario, engine_inertia, layout);
    return layout;
}

}  // namespace kurbel::simulate
