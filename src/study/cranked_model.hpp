// The energy of the crank over one cycle of cranking, as gas, starter, friction, pistons and teeth make it.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <vector>

#include "kurbel/core/config.hpp"
#include "study/cranked_cycles.hpp"
#include "study/trapped_gas.hpp"

namespace kurbel::cranking {

/// Columns of what is fitted to all cycles together.
struct Columns {
    int cylinders;
    int teeth;
    [[nodiscard]] int trapped(int k) const { return k; }
    [[nodiscard]] int leak(int k) const { return cylinders + k; }
    [[nodiscard]] int exponent() const { return 2 * cylinders; }
    [[nodiscard]] int tdc() const { return 2 * cylinders + 1; }
    /// Torque that depends on speed alone: straight, bent once, and bent at the knee.
    [[nodiscard]] int speed() const { return 2 * cylinders + 2; }
    [[nodiscard]] int bend() const { return 2 * cylinders + 3; }
    [[nodiscard]] int at_knee() const { return 2 * cylinders + 4; }
    /// Inertia that is there below the knee.
    [[nodiscard]] int armature() const { return 2 * cylinders + 5; }
    [[nodiscard]] int knee() const { return 2 * cylinders + 6; }
    /// Piston mass times squared crank radius over rotating inertia.
    [[nodiscard]] int pistons() const { return 2 * cylinders + 7; }
    [[nodiscard]] int tooth(int i) const { return 2 * cylinders + 8 + i; }
    [[nodiscard]] int count() const { return tooth(teeth); }
};

/// All that is fitted.
struct Values {
    Eigen::VectorXd shared;              ///< by Columns
    std::vector<Eigen::Vector2d> local;  ///< of each cycle: energy at its beginning, steady torque
    double ambient_bar = 1.013;
};

/// One cycle at some values.
struct CycleModel {
    Eigen::MatrixXd global;     ///< derivatives, intervals x columns
    Eigen::MatrixXd local;      ///< intervals x 2
    Eigen::VectorXd residual;   ///< energy less the model's
    Eigen::VectorXd deviation;  ///< standard deviation of each, before scatter is known
    Eigen::VectorXd fitted;
    Eigen::VectorXd exposure;  ///< what leaks had passed at each cylinder's TDC, s
};

/// Energy over angle is the integral of torque over inertia. Lives no longer than what it was made of.
class CrankedModel {
  public:
    CrankedModel(const Config& config, const std::vector<CrankedCycle>& cycles, double half_deg);

    [[nodiscard]] CycleModel at(std::size_t cycle, const Values& values) const;

    [[nodiscard]] const Columns& columns() const { return columns_; }
    /// Geometry and inertia are told.
    [[nodiscard]] bool sized() const { return sized_; }
    /// Speed that is passed for 1 - `share` of the time, rad/s.
    [[nodiscard]] double speed_passed(double share) const;

  private:
    [[nodiscard]] std::vector<double> speed_at_steps(const CrankedCycle& cycle) const;
    [[nodiscard]] std::vector<double> exposures(std::size_t c, double tdc_deg, double& at_tdc) const;
    [[nodiscard]] Eigen::MatrixXd integrals(std::size_t c, const Values& values,
                                            Eigen::VectorXd& exposure_at_tdc) const;

    const Config& config_;
    const std::vector<CrankedCycle>& cycles_;
    double half_deg_;
    double cycle_deg_;
    double step_rad_;
    bool sized_ = false;
    double torque_ = 1.0;
    GasTables tables_;
    Columns columns_;
    std::vector<double> piston_square_;  // sum of squared levers at each step
    std::vector<std::vector<double>> speeds_;
    std::vector<double> sorted_speeds_;
    double bend_ = 0.0;  // rad/s
};

}  // namespace kurbel::cranking
