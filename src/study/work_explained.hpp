// What the orders of the crank's energy say about the work of each cylinder, with what may bend them.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <vector>

#include "kurbel/core/config.hpp"
#include "study/work_orders.hpp"

namespace kurbel {

/// First torsion of a long crank: what lies near it says nothing of work.
inline constexpr double kSlowestMode_hz = 250.0;
/// Columns after the cylinders': combustion and compression that all cylinders share, twisted by their places on the crank.
inline constexpr int kTwisted = 2;

/// What one order says: the part that goes with work, per unit of mean work.
struct WorkOrder {
    int per_cycle = 1;
    double per_turn = 0.5;
    std::complex<double> value = 0.0;  ///< energy phasor per mean work
    double variance = 0.0;             ///< of each component, from scatter and wheel
    Eigen::VectorXcd lever;  ///< phasor of one unit of work more at each place, per mean work; then the twisted parts
};

struct OrdersTold {
    std::vector<WorkOrder> orders;
    double rev_hz = 0.0;
    double intake = 1.0;  ///< its pressure over the indicated mean pressure
};

/// Fills deviation, covariance, misfit and wheel_matters of `shares`, whose mean is there, by weighted least squares with priors.
void explain_orders(const EngineConfig& engine, const OrdersTold& told, WorkShares& shares);

}  // namespace kurbel
