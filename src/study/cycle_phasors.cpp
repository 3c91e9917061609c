#include "study/cycle_phasors.hpp"

#include <Eigen/Cholesky>
#include <cmath>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"

namespace kurbel {

CyclePhasors::CyclePhasors(const EngineConfig& engine, const CycleProfiles& profiles, int highest) {
    const double cycle_rad = to_rad(engine.cycle_deg());
    const auto rows = static_cast<Eigen::Index>(profiles.begin_deg.size());
    Eigen::MatrixXd design(rows, 1 + 2 * highest);
    Eigen::VectorXd slope(rows);
    for (Eigen::Index i = 0; i < rows; ++i) {
        const auto at = static_cast<std::size_t>(i);
        const double width = to_rad(profiles.width_deg[at]);
        const double middle = to_rad(profiles.begin_deg[at]) + 0.5 * width;
        slope[i] = middle / cycle_rad;
        design(i, 0) = 1.0;
        for (int w = 0; w < highest; ++w) {
            const double turn = 2.0 * std::numbers::pi * (w + 1) / cycle_rad;
            const double softened = std::sin(0.5 * turn * width) / (0.5 * turn * width);
            design(i, 1 + 2 * w) = softened * std::cos(turn * middle);
            design(i, 2 + 2 * w) = -softened * std::sin(turn * middle);
        }
    }
    // Errors sit at the teeth: what one makes an interval too long, the next is too short. Sums from the first tooth on have
    // errors that are independent from tooth to tooth (and one for the first), so the gap costs no more than its teeth.
    Eigen::MatrixXd sums = Eigen::MatrixXd::Zero(rows + 1, rows);
    for (Eigen::Index i = 1; i <= rows; ++i)
        for (Eigen::Index j = 0; j < i; ++j) sums(i, j) = to_rad(profiles.width_deg[static_cast<std::size_t>(j)]);
    Eigen::MatrixXd summed(rows + 1, 2 + 2 * highest);
    summed.col(0).setOnes();
    summed.rightCols(1 + 2 * highest) = sums * design;
    const Eigen::MatrixXd normal = summed.transpose() * summed;
    solve_ = (normal.ldlt().solve(summed.transpose()) * sums).bottomRows(1 + 2 * highest);
    slope_ = solve_ * slope;
}

CyclePhasors::Complex CyclePhasors::at(const CycleProfile& cycle, int per_cycle, double rise) const {
    const Eigen::Map<const Eigen::VectorXd> values(cycle.interval.data(),
                                                   static_cast<Eigen::Index>(cycle.interval.size()));
    const Eigen::Index row = 2 * per_cycle - 1;
    return {solve_.row(row).dot(values) - rise * slope_[row], solve_.row(row + 1).dot(values) - rise * slope_[row + 1]};
}

}  // namespace kurbel
