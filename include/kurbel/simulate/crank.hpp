// The elastic crank: pulley, throws, flywheel, and in gear the gearbox and the vehicle behind it.
#pragma once

#include <algorithm>

#include "kurbel/simulate/cylinder.hpp"
#include "kurbel/simulate/scenario.hpp"
#include "kurbel/simulate/torsion.hpp"

namespace kurbel::simulate {

/// Which mass of the chain is what.
struct CrankLayout {
    TorsionChain chain{};
    int throws = 0;
    int flywheel = 0;
    int gearbox = -1;  ///< -1 where the clutch is open
    int vehicle = -1;
    std::array<int, kMaxCylinders> mass_of_cylinder{};  ///< by cylinder number - 1
    double vehicle_inertia_kg_m2 = 0.0;                 ///< referred to the crank

    [[nodiscard]] bool in_gear() const noexcept { return vehicle >= 0; }
};

/// Mean of the reciprocating mass's inertia over a turn: m r^2/2 (1 + lambda^2/4 + ...), here summed exactly.
[[nodiscard]] inline double mean_reciprocating_inertia(const EngineConfig& engine) noexcept {
    const SliderCrank geometry = SliderCrank::from(engine);
    double sum = 0.0;
    constexpr int kPoints = 360;
    for (int i = 0; i < kPoints; ++i) {
        const double slope = geometry.motion(2.0 * portable::kPi * i / kPoints).slope_m;
        sum += slope * slope;
    }
    return engine.reciprocating_kg * sum / kPoints;
}

namespace detail {

/// Fills pulley, throws and flywheel and scales the shafts to the wanted first mode.
inline void make_crank(const Scenario& scenario, CrankLayout& layout) noexcept {
    const EngineConfig& engine = scenario.engine;
    const CrankSettings& crank = scenario.crank;
    TorsionChain& chain = layout.chain;
    int highest = 0;
    for (int c = 0; c < engine.cylinders; ++c) {
        const int pin = engine.throw_number[static_cast<std::size_t>(c)];
        layout.mass_of_cylinder[static_cast<std::size_t>(c)] = pin > 0 ? pin : c + 1;
        highest = std::max(highest, layout.mass_of_cylinder[static_cast<std::size_t>(c)]);
    }
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
    TorsionChain mean = chain;
    const double reciprocating = mean_reciprocating_inertia(engine);
    for (int c = 0; c < engine.cylinders; ++c)
        mean.inertia_kg_m2[static_cast<std::size_t>(layout.mass_of_cylinder[static_cast<std::size_t>(c)])] +=
            reciprocating;
    const double wanted = 2.0 * portable::kPi * crank.first_torsion_hz;
    const double unit = mean.mode_rad_s(1);
    chain.scale_stiffness(0, highest + 1, wanted * wanted / (unit * unit));
    for (int i = 0; i <= highest; ++i)
        chain.damping_nm_s_rad[static_cast<std::size_t>(i)] =
            2.0 * crank.damping_ratio / wanted * chain.stiffness_nm_rad[static_cast<std::size_t>(i)];
}

/// Hangs gearbox and vehicle behind the flywheel. Each spring is set from its mode as if the other were rigid or absent,
/// which is close while shuffle lies far below the clutch mode.
inline void add_driveline(const Scenario& scenario, double engine_inertia_kg_m2, CrankLayout& layout) noexcept {
    const DrivelineSettings& line = scenario.driveline;
    TorsionChain& chain = layout.chain;
    layout.gearbox = layout.flywheel + 1;
    layout.vehicle = layout.flywheel + 2;
    chain.masses = layout.vehicle + 1;
    const double arm_m = line.wheel_radius_m / line.ratio;
    layout.vehicle_inertia_kg_m2 = line.vehicle_kg * arm_m * arm_m;
    const auto flywheel = static_cast<std::size_t>(layout.flywheel);
    chain.inertia_kg_m2[flywheel + 1] = line.gearbox_kg_m2;
    chain.inertia_kg_m2[flywheel + 2] = layout.vehicle_inertia_kg_m2;

    const auto series = [](double a, double b) { return a * b / (a + b); };
    const auto link = [&](std::size_t index, double inertia, double hz, double ratio) {
        const double omega = 2.0 * portable::kPi * hz;
        chain.stiffness_nm_rad[index] = omega * omega * inertia;
        chain.damping_nm_s_rad[index] = 2.0 * ratio * omega * inertia;
    };
    link(flywheel, series(line.gearbox_kg_m2, engine_inertia_kg_m2), line.clutch_hz, line.clutch_damping);
    link(flywheel + 1, series(engine_inertia_kg_m2 + line.gearbox_kg_m2, layout.vehicle_inertia_kg_m2), line.shuffle_hz,
         line.shuffle_damping);
}

}  // namespace detail

/// The chain of a scenario; reciprocating inertia comes on top of the throws as it turns.
[[nodiscard]] inline CrankLayout make_crank_layout(const Scenario& scenario) noexcept {
    CrankLayout layout;
    detail::make_crank(scenario, layout);
    const OperationSettings& operation = scenario.operation;
    if (operation.mode == Operation::hold || operation.mode == Operation::road) {
        const double engine_inertia = layout.chain.total_inertia_kg_m2() +
                                      scenario.engine.cylinders * mean_reciprocating_inertia(scenario.engine);
        detail::add_driveline(scenario, engine_inertia, layout);
    }
    return layout;
}

}  // namespace kurbel::simulate
