// The equations of motion: elastic crank, cylinders, friction, starter and load, integrated with a fixed step.
//
// For each mass J(x) a = sum of shaft torques + gas torque - friction - 1/2 J'(x) w^2, where J and J' hold the reciprocating
// mass of the cylinders on that throw (Kiencke and Nielsen, Automotive Control Systems; equation from memory).
#pragma once

#include <array>

#include "kurbel/simulate/crank.hpp"
#include "kurbel/simulate/cylinder.hpp"
#include "kurbel/simulate/mean_torque.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

using MassArray = std::array<double, kMaxMasses>;
using CylinderArray = std::array<double, kMaxCylinders>;

class EngineModel {
  public:
    explicit EngineModel(const Scenario& scenario);

    /// All masses at `angle_rad` (0 is cylinder 1's firing TDC) and `speed_rad_s`, springs without torque.
    void start(double angle_rad, double speed_rad_s) noexcept;

    /// Twists the driveline's springs so that they carry `torque_nm`, the engine untouched.
    void preload_driveline(double torque_nm) noexcept;

    /// One Runge-Kutta step of fourth order; adds each cylinder's gas work of the step to `work_j`.
    void step(double step_s) noexcept;

    /// Longest step that follows the highest torsion mode and stays below 1.5 crank degrees at `highest_rad_s`.
    [[nodiscard]] double longest_step_s(double highest_rad_s) const noexcept;

    /// Lowers every angle by a whole number of cycles where they have grown large; returns by how much.
    [[nodiscard]] double rebase() noexcept;

    /// Crank angle of cylinder `c` (0-based) from its present firing TDC, read at its throw.
    [[nodiscard]] double cylinder_rad(std::size_t c) const noexcept {
        return angle_rad[static_cast<std::size_t>(layout_.mass_of_cylinder[c])] - firing_tdc_rad[c];
    }
    [[nodiscard]] const CrankLayout& layout() const noexcept { return layout_; }
    [[nodiscard]] const CylinderModel& cylinder() const noexcept { return cylinder_; }
    [[nodiscard]] const Friction& friction() const noexcept { return friction_; }
    [[nodiscard]] int cylinders() const noexcept { return cylinders_; }
    [[nodiscard]] double total_inertia_kg_m2() const noexcept {
        return total_inertia_;
    }  ///< mean, all that turns along

    // State.
    MassArray angle_rad{};
    MassArray speed_rad_s{};
    CylinderArray firing_tdc_rad{};  ///< angle of the throw at the present cycle's firing TDC

    // Inputs, held over a step.
    std::array<Charge, kMaxCylinders> charge{};
    double manifold_pa = 1e5;
    double load_nm = 0.0;  ///< against the rotation, at the vehicle, or at the flywheel with the clutch open
    bool starter_engaged = false;

    CylinderArray work_j{};  ///< running sum; the caller takes differences or clears it

  private:
    struct Slope {
        MassArray acceleration;
        CylinderArray power_w;
    };
    void slope(const MassArray& angle, const MassArray& speed, Slope& out) const noexcept;

    CrankLayout layout_;
    CylinderModel cylinder_;
    Friction friction_;
    StarterSettings starter_;
    int cylinders_;
    double cycle_rad_;
    double total_inertia_;
};

}  // namespace kurbel::simulate
