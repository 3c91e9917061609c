#include "discover/cycle_fit.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "kurbel/core/slider_crank.hpp"

namespace kurbel::discover {

namespace {

constexpr int kMostWaves = 24;
constexpr double kWavesPerInterval = 0.42;
constexpr double kWorstNoise = 4.0;  ///< an order whose noise the gap raises by more is not told

}  // namespace

CycleFit::CycleFit(const WheelConfig& wheel) : intervals(2 * wheel.teeth) {
    waves = std::min(kMostWaves, static_cast<int>(kWavesPerInterval * intervals));
    const auto angle = [&](int tooth) {
        return to_rad(static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(tooth % wheel.teeth)]) +
                      360.0 * (tooth / wheel.teeth));
    };
    Eigen::MatrixXd design(intervals, 1 + 2 * waves);
    Eigen::VectorXd rise(intervals);
    for (int i = 0; i < intervals; ++i) {
        const double width = angle(i + 1) - angle(i);
        const double middle = angle(i) + 0.5 * width;
        factor.push_back(0.5 * width * width);
        rise[i] = middle / to_rad(720.0);
        design(i, 0) = 1.0;
        for (int h = 1; h <= waves; ++h) {
            const double order = 0.5 * h;
            const double softened = std::sin(0.5 * order * width) / (0.5 * order * width);
            design(i, 2 * h - 1) = softened * std::cos(order * middle);
            design(i, 2 * h) = -softened * std::sin(order * middle);
        }
    }
    const Eigen::MatrixXd solve = (design.transpose() * design).ldlt().solve(design.transpose());
    rows = solve.bottomRows(2 * waves);
    slope = rows * rise;
    for (int h = 0; h < waves; ++h) {
        const double gain = 0.5 * (rows.row(2 * h).squaredNorm() + rows.row(2 * h + 1).squaredNorm());
        told.push_back(gain <= kWorstNoise * 2.0 / intervals);
    }
    // A tooth that stands off makes one interval longer and the next shorter, in both revolutions alike.
    Eigen::MatrixXd by_tooth = Eigen::MatrixXd::Zero(intervals, wheel.teeth);
    for (int i = 0; i < intervals; ++i) {
        const double share = 2.0 / (angle(i + 1) - angle(i));
        by_tooth(i, i % wheel.teeth) += share;
        by_tooth(i, (i + 1) % wheel.teeth) -= share;
    }
    const Eigen::MatrixXd moved = rows * by_tooth;
    for (int h = 0; h < waves; ++h)
        by_teeth.push_back(std::sqrt(0.5 * (moved.row(2 * h).squaredNorm() + moved.row(2 * h + 1).squaredNorm())));
}

namespace {

/// By which single teeth stand off, radians. The engine's swing moves neighbours alike, and differences of differences do not see it.
double tooth_error_rad(const WheelFinding& wheel) {
    constexpr double kUsual_deg = 0.1;   // of a stamped wheel (from memory)
    constexpr double kLeast_deg = 0.02;  // of a machined one (from memory)
    const std::size_t teeth = wheel.measured_deg.size();
    constexpr std::size_t kFewest = 8;
    if (wheel.positions == 0 || teeth < kFewest || wheel.angle_deg.size() != teeth) return to_rad(kUsual_deg);
    double square = 0.0;
    for (std::size_t i = 0; i < teeth; ++i) {
        const auto off = [&](std::size_t k) { return wheel.measured_deg[k % teeth] - wheel.angle_deg[k % teeth]; };
        square += std::pow(off(i + 2) - 2.0 * off(i + 1) + off(i), 2) / (6.0 * static_cast<double>(teeth));
    }
    return to_rad(std::max(kLeast_deg, std::sqrt(square)));
}

/// 0.2 mm off the centre of a wheel of 75 mm radius (judged from usual fits; no source): a wave of order 1.
constexpr double kRunOut_deg = 0.15;

}  // namespace

std::vector<double> wheel_errors(const CycleFit& fit, const WheelFinding& wheel) {
    std::vector<double> error(static_cast<std::size_t>(fit.waves));
    for (std::size_t h = 1; h < error.size(); h += 2) error[h] = fit.by_teeth[h] * tooth_error_rad(wheel);
    if (error.size() > 1) error[1] = std::hypot(error[1], 2.0 * to_rad(kRunOut_deg));
    return error;
}

}  // namespace kurbel::discover
