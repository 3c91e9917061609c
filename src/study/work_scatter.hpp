// How much each cylinder's work scatters from cycle to cycle, without what the measurement adds.
#pragma once

#include <Eigen/Core>

#include "kurbel/core/config.hpp"
#include "study/cycle_profiles.hpp"

namespace kurbel {

/// Over rotating inertia, rad^2/s^2; by place in the firing order.
struct WorkScatter {
    Eigen::VectorXd variance;        ///< of one firing's work, noise taken out; may come out below 0
    Eigen::VectorXd variance_error;  ///< its standard error
    Eigen::VectorXd noise;           ///< what was taken out
    int cycles = 0;                  ///< 0: too few steady ones
};

/// From steady cycles (speed within 8 %, load within 0.05 of the usual) without misfire: each cycle, with 150 degrees of the next,
/// is explained by a level, and a step of energy at each firing (the running share of one combustion's work). What is fitted
/// is the lag of each tooth behind the usual cycle, whose errors are independent from tooth to tooth.
[[nodiscard]] WorkScatter scatter_of_work(const Config& config, const CycleProfiles& profiles);

}  // namespace kurbel
