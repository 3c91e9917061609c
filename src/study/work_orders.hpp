// From the energies of many cycles to the mean work of each cylinder against the others.
#pragma once

#include <Eigen/Core>

#include "kurbel/core/config.hpp"
#include "study/cycle_profiles.hpp"

namespace kurbel {

/// Work over rotating inertia, rad^2/s^2, cylinders in firing order.
struct WorkShares {
    double mean = 0.0;           ///< of one firing, mean over the cylinders and cycles
    double mean_doubt = 0.0;     ///< its standard error, share
    Eigen::VectorXd deviation;   ///< of each cylinder's mean work from that; sum 0
    Eigen::MatrixXd covariance;  ///< of the deviations
    double misfit = 0.0;         ///< squared standard errors a degree of freedom
    bool wheel_matters = false;  ///< an integer order was needed
    int cycles = 0;
};

/// `cycles` of `profiles` must number at least a dozen.
[[nodiscard]] WorkShares share_work(const Config& config, const CycleProfiles& profiles);

}  // namespace kurbel
