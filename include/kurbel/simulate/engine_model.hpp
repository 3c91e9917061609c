// The equations of motion: elastic crank, cylinders, friction, starter, driveline and load, integrated with a fixed step.
//
// For each mass J(x) a = sum of shaft torques + gas torque - friction - 1/2 J'(x) w^2, where J and J' hold the reciprocating
// mass of the cylinders on that throw (Kiencke and Nielsen, Automotive Control Systems; equation from memory).
#pragma once

#include <array>
#include <vector>

#include "kurbel/simulate/crank.hpp"
#include "kurbel/simulate/cylinder.hpp"
#include "kurbel/simulate/driveline.hpp"
#include "kurbel/simulate/mean_torque.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

using MassArray = std::array<double, kMaxMasses>;
using CylinderArray = std::array<double, kMaxCylinders>;

class EngineModel {
  public:
    explicit EngineModel(const Scenario& scenario);

    /// All masses at `angle_rad` (0 is cylinder 1's firing TDC) and `speed_rad_s`, springs without torque, the driveline as
    /// at `time_s`.
    void start(double angle_rad, double speed_rad_s, double time_s = 0.0) noexcept;

    /// Sets what driveline, road and accessories do over the control step of `step_s` that begins at `time_s`.
    void control(double time_s, double step_s) noexcept;

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
    void set_friction_factor(double factor) noexcept { friction_.set_factor(factor); }
    [[nodiscard]] int cylinders() const noexcept { return cylinders_; }
    [[nodiscard]] const Driveline& driveline() const noexcept { return driveline_; }
    /// Mean, all that turns along, a vehicle in gear included.
    [[nodiscard]] double total_inertia_kg_m2() const noexcept {
        return driveline_.active() ? total_inertia_ + driveline_.inertia_kg_m2() : total_inertia_;
    }
    /// The same without vehicle and gearbox.
    [[nodiscard]] double engine_inertia_kg_m2() const noexcept { return engine_inertia_; }
    [[nodiscard]] bool in_gear() const noexcept { return layout_.in_gear() || driveline_.active(); }
    [[nodiscard]] double vehicle_kmh() const noexcept;

    // State.
    MassArray angle_rad{};
    MassArray speed_rad_s{};
    CylinderArray firing_tdc_rad{};  ///< angle of the throw at the present cycle's firing TDC

    // Inputs, held over a step.
    std::array<Charge, kMaxCylinders> charge{};
    double manifold_pa = 1e5;
    double load_nm = 0.0;       ///< against the rotation, at the vehicle, or at the flywheel with the clutch open
    double accessory_nm = 0.0;  ///< at the front end, against the rotation; control() sets it
    bool starter_engaged = false;
    double starter_gain = 1.0;   ///< of the starter's torque, and
    double starter_level = 1.0;  ///< of its line: the battery's part

    CylinderArray work_j{};  ///< running sum; the caller takes differences or clears it

  private:
    struct Slope {
        MassArray acceleration;
        CylinderArray power_w;
        DrivelineState line;
        double hysteresis_rad_s = 0.0;
    };
    struct Stage {  // what turns at one of the four looks of a step
        MassArray angle;
        MassArray speed;
        DrivelineState line;
        double hysteresis_rad = 0.0;
    };
    void slope(const Stage& at, Slope& out) const noexcept;
    void look_ahead(const MassArray& speed, const Slope& slope, double h, Stage& stage) const noexcept;

    CrankLayout layout_;
    CylinderModel cylinder_;
    Friction friction_;
    Driveline driveline_;
    std::vector<AccessoryLoad> accessories_;
    double hysteresis_rad_ = 0.0;  ///< twist of the spring that the dual-mass flywheel's dry friction sticks on
    DrivelineSettings fixed_ratio_;
    StarterSettings starter_;
    int cylinders_;
    double cycle_rad_;
    double total_inertia_;
    double engine_inertia_ = 0.0;
    double highest_mode_rad_s_ = 0.0;
};

}  // namespace kurbel::simulate
