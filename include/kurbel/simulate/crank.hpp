// The elastic crank: damper ring, pulley, throws, flywheel, second flywheel mass, and with a fixed ratio the gearbox and the
// vehicle behind it.
#pragma once

#include "kurbel/simulate/cylinder.hpp"
#include "kurbel/simulate/friction_joint.hpp"
#include "kurbel/simulate/scenario.hpp"
#include "kurbel/simulate/torsion.hpp"

namespace kurbel::simulate {

/// Which mass of the chain is what.
struct CrankLayout {
    TorsionChain chain{};
    int front = 0;  ///< pulley; 1 where a damper ring hangs before it
    int throws = 0;
    int flywheel = 0;  ///< the starter's and a flywheel sensor's place
    int rear = 0;      ///< where the clutch sits: the flywheel, or its second mass
    int gearbox = -1;  ///< -1 where the clutch is open or a Driveline stands behind it
    int vehicle = -1;
    std::array<int, kMaxCylinders> mass_of_cylinder{};  ///< by cylinder number - 1
    double vehicle_inertia_kg_m2 = 0.0;                 ///< referred to the crank
    FrictionJoint hysteresis{};                         ///< on which the dual-mass flywheel's dry friction sticks
    double hysteresis_nm = 0.0;                         ///< and where it slips; 0: none

    [[nodiscard]] bool in_gear() const noexcept { return vehicle >= 0; }
};

/// Mean of the reciprocating mass's inertia over a turn: m r^2/2 (1 + lambda^2/4 + ...), here summed exactly.
[[nodiscard]] double mean_reciprocating_inertia(const EngineConfig& engine) noexcept;

/// The chain of a scenario; reciprocating inertia comes on top of the throws as it turns.
///
/// A tuned damper whose frequency is not given gets Den Hartog's optimum for the crank's first mode: f1/(1 + ring over the
/// mode's inertia as felt at the pulley) (Mechanical Vibrations, sec. 3.3; from memory).
[[nodiscard]] CrankLayout make_crank_layout(const Scenario& scenario) noexcept;

/// The same chain with mean reciprocating inertia on its throws: what natural frequencies are told of.
[[nodiscard]] TorsionChain mean_chain(const CrankLayout& layout, const EngineConfig& engine) noexcept;

/// Whether a clutch, gears, wheels and tyres stand behind the flywheel as a Driveline instead of two masses of the chain.
[[nodiscard]] inline bool has_driveline(const Scenario& scenario) noexcept {
    const Operation mode = scenario.operation.mode;
    return !scenario.gearbox.ratios.empty() && (mode == Operation::hold || mode == Operation::road);
}

}  // namespace kurbel::simulate
