// Mean torque over speed and charge, from steady cycles of the cylinder model: feed-forward of governor, brake and driver.
#pragma once

#include <vector>

#include "kurbel/simulate/cylinder.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

/// Friction torque of the whole engine at `speed_rad_s`, its sign against the rotation.
class Friction {
  public:
    explicit Friction(const Scenario& scenario) noexcept;

    [[nodiscard]] double torque_nm(double speed_rad_s) const noexcept {
        const double magnitude = speed_rad_s < 0.0 ? -speed_rad_s : speed_rad_s;
        double torque = constant_ + magnitude * (linear_ + magnitude * square_);
        if (more_ != 0.0) torque += more_ * (torque - accessories_);
        if (speed_rad_s > kStiction * 20.0) return torque;
        return torque * portable::tanh(speed_rad_s / kStiction);
    }

    /// Cold friction over warm; accessories keep theirs.
    void set_factor(double factor) noexcept { more_ = factor - 1.0; }

  private:
    static constexpr double kStiction = 0.5;  ///< rad/s over which friction turns its sign
    double constant_;
    double linear_;
    double square_;
    double accessories_;
    double more_ = 0.0;
};

/// Friction over that at 90 C; 1 where the scenario leaves temperature out, at most 8. Vogel's law for the oil, see FrictionSettings.
[[nodiscard]] double friction_factor(const FrictionSettings& friction, double coolant_c) noexcept;

/// Work of the burnt heat over that of the best timing, by how much later it burns; from the cylinder model at load 0.35.
class SparkEfficiency {
  public:
    SparkEfficiency(const Scenario& scenario, const CylinderModel& cylinder);
    [[nodiscard]] double at(double retard_deg) const noexcept;

  private:
    static constexpr std::size_t kPoints = 20;
    static constexpr double kStepDeg = 5.0;
    static constexpr double kFirstDeg = -20.0;
    std::array<double, kPoints> value_{};
};

class MeanTorque {
  public:
    MeanTorque(const Scenario& scenario, const CylinderModel& cylinder, const Friction& friction);

    /// What late spark leaves of the burnt heat's work, and friction over the warm engine's; both 1 at first.
    void set_conditions(double efficiency, double friction_factor) noexcept {
        efficiency_ = efficiency;
        more_friction_ = friction_factor - 1.0;
    }

    /// Shaft torque, friction taken off.
    [[nodiscard]] double torque_nm(double load, double speed_rad_s) const noexcept;

    /// The same without fuel.
    [[nodiscard]] double motored_nm(double load, double speed_rad_s) const noexcept;

    /// Charge that gives `torque_nm` at this speed; linear beyond the table.
    [[nodiscard]] double load_for(double torque_nm, double speed_rad_s) const noexcept;

  private:
    static constexpr std::array<double, 5> kLoads{0.15, 0.35, 0.6, 0.9, 1.3};
    static constexpr std::size_t kSpeeds = 16;
    using Table = std::array<std::array<double, kSpeeds>, kLoads.size()>;  ///< by load, then speed

    [[nodiscard]] double at_load(const Table& table, std::size_t load, double speed_rad_s) const noexcept;
    [[nodiscard]] double at(const Table& table, double load, double speed_rad_s) const noexcept;
    [[nodiscard]] double fired_at(std::size_t load, double speed_rad_s) const noexcept;
    [[nodiscard]] double lost_nm(double speed_rad_s) const noexcept;

    Friction friction_;
    double accessories_nm_;
    double efficiency_ = 1.0;
    double more_friction_ = 0.0;
    double speed_step_;
    Table fired_{};
    Table motored_{};
};

/// Charge without scatter of a cylinder at this load: pressure, heat and burn as the scenario sets them.
[[nodiscard]] Charge nominal_charge(const Scenario& scenario, const CylinderModel& cylinder, double load);

/// Burn duration at this load, rad.
[[nodiscard]] double burn_duration_rad(const CombustionSettings& combustion, double load) noexcept;

/// How much longer it takes where combustion comes later by `retard_deg`; no less than 0.3.
[[nodiscard]] double burn_growth(const CombustionSettings& combustion, double retard_deg) noexcept;

/// Scatter of gross work (COV) at this load.
[[nodiscard]] double scatter_at(const CombustionSettings& combustion, double load) noexcept;

/// Share of slow burns at this load.
[[nodiscard]] double slow_share_at(const CombustionSettings& combustion, double load) noexcept;

/// Absolute intake pressure at this load.
[[nodiscard]] double manifold_pa(const CombustionSettings& combustion, double load) noexcept;

}  // namespace kurbel::simulate
