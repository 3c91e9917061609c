// From the intervals of one engine cycle to the waves of its energy, and what the wheel's own errors make of them.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/discover/discovery.hpp"

namespace kurbel::discover {

/// The fit of one cycle: intervals to waves.
struct CycleFit {
    int intervals = 0;
    int waves = 0;
    std::vector<double> factor;  ///< squared width over 2, rad^2
    Eigen::MatrixXd rows;        ///< 2 a wave
    Eigen::VectorXd slope;       ///< what energy that rises by 1 a cycle does to them
    std::vector<bool> told;
    /// Of each wave: standard deviation of its real or imaginary part at unit energy, with teeth that stand off by 1 rad at random.
    std::vector<double> by_teeth;

    explicit CycleFit(const WheelConfig& wheel);
};

/// Of each wave: what the wheel's teeth make of its real or imaginary part at unit energy, standard deviation; 0 at half orders, which a
/// wheel does not have.
[[nodiscard]] std::vector<double> wheel_errors(const CycleFit& fit, const WheelFinding& wheel);

}  // namespace kurbel::discover
