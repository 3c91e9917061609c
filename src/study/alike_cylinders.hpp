// What cylinders hold beside each other, given that most cylinders of an engine are alike.
#pragma once

#include <Eigen/Core>

namespace kurbel {

/// Logarithms of pressures, drawn from what is believed of them. Where all lie together means nothing, only differences do.
struct AlikeCylinders {
    Eigen::VectorXd mean;   ///< by cylinder
    Eigen::MatrixXd draws;  ///< draws x cylinders
};

/// Bayes' rule over measured logarithms and the covariance of their errors (positive definite; what all share does not matter).
///
/// The best of several cylinders that were measured is mostly one whose error is high, and all others read low beside it. What
/// is known beforehand mends that: sound cylinders lie about one level, as near to each other as the engine itself shows
/// (their spread is drawn, too); a cylinder may be faulty, and lie anywhere below. Gibbs' sampler (Gelfand and Smith 1990, from
/// memory); the same draws every time.
[[nodiscard]] AlikeCylinders alike_cylinders(const Eigen::VectorXd& measured, const Eigen::MatrixXd& covariance);

}  // namespace kurbel
