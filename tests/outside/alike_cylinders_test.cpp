// What is believed of cylinders that are mostly alike, against plain summing of Bayes' rule over a grid, and by simulation-based
// calibration (Cook, Gelman and Rubin 2006, from memory: truths drawn as the prior says must lie within 95 % ranges 95 % of the
// time). Figures are invented.
#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "kurbel/simulate/random.hpp"
#include "study/alike_cylinders.hpp"

namespace {

using kurbel::alike_cylinders;
using kurbel::AlikeCylinders;

// The prior as the header tells it, its figures as its body has them.
constexpr double kFaulty = 0.2;
constexpr double kLeast = 0.01;
constexpr std::array<double, 5> kSpreads{0.003, 0.006, 0.012, 0.024, 0.048};

double normal_density(double x, double deviation) {
    return std::exp(-0.5 * x * x / (deviation * deviation)) / (deviation * std::sqrt(2.0 * 3.14159265358979));
}

double quantile(const Eigen::MatrixXd& draws, Eigen::Index column, double share) {
    std::vector<double> sorted(draws.col(column).begin(), draws.col(column).end());
    std::sort(sorted.begin(), sorted.end());
    return sorted[static_cast<std::size_t>(share * static_cast<double>(sorted.size() - 1))];
}

/// Mean of cylinder 1's logarithm over cylinder 0's, by the sum over both cylinders' logarithms.
double summed_difference(double seen, double deviation) {
    constexpr double kStep = 0.0015;
    double weight = 0.0;
    double mean = 0.0;
    for (const double spread : kSpreads)
        for (double a = -1.0; a < 0.25; a += kStep)
            for (double b = std::max(-1.0, a + seen - 6.0 * deviation); b < std::min(0.25, a + seen + 6.0 * deviation);
                 b += kStep) {
                const auto prior = [&](double x) {
                    const double faulty = x < 0.0 ? kFaulty / (1.0 - kLeast) * std::exp(x) : 0.0;
                    return (1.0 - kFaulty) * normal_density(x, spread) + faulty;
                };
                const double one = prior(a) * prior(b) * normal_density(b - a - seen, deviation);
                weight += one;
                mean += one * (b - a);
            }
    return mean / weight;
}

TEST(AlikeCylinders, GiveTheMeanThatSummingOverAGridGives) {
    for (const double seen : {-0.02, -0.08, -0.3})
        for (const double deviation : {0.01, 0.03}) {
            Eigen::Vector2d measured(0.4, 0.4 + seen);
            // What both share is wide, and must not matter.
            Eigen::Matrix2d covariance = Eigen::Matrix2d::Constant(0.04);
            covariance.diagonal().array() += 0.5 * deviation * deviation;
            const AlikeCylinders alike = alike_cylinders(measured, covariance);
            EXPECT_NEAR(alike.mean[1] - alike.mean[0], summed_difference(seen, deviation), 0.15 * deviation)
                << seen << " " << deviation;
        }
}

TEST(AlikeCylinders, HoldTruthsDrawnAsThePriorSaysInTheirRanges) {
    kurbel::simulate::Random random(99, 1);
    int inside = 0;
    int all = 0;
    double squares = 0.0;
    double raw_squares = 0.0;
    for (int run = 0; run < 60; ++run) {
        const int z = 3 + run % 6;
        const double spread = kSpreads[static_cast<std::size_t>(random.uniform() * 5.0)];
        Eigen::VectorXd truth(z);
        for (double& one : truth)
            one = random.uniform() < kFaulty ? std::log(1.0 - 0.99 * random.uniform()) : spread * random.normal();
        Eigen::MatrixXd root(z, z);
        for (Eigen::Index i = 0; i < z; ++i)
            for (Eigen::Index j = 0; j < z; ++j) root(i, j) = 0.01 * random.normal();
        Eigen::MatrixXd covariance = root * root.transpose();
        covariance.diagonal().array() += 1e-4;
        Eigen::VectorXd noise(z);
        for (double& one : noise) one = random.normal();
        const Eigen::VectorXd measured = (truth + covariance.llt().matrixL() * noise).array() + 2.0;
        const AlikeCylinders alike = alike_cylinders(measured, covariance);
        Eigen::MatrixXd share = alike.draws;
        for (Eigen::Index d = 0; d < share.rows(); ++d) share.row(d).array() -= alike.draws.row(d).maxCoeff();
        for (Eigen::Index k = 0; k < z; ++k) {
            const double value = truth[k] - truth.maxCoeff();
            inside += value >= quantile(share, k, 0.025) && value <= quantile(share, k, 0.975) ? 1 : 0;
            ++all;
            squares += std::pow(alike.mean[k] - alike.mean.maxCoeff() - value, 2);
            raw_squares += std::pow(measured[k] - measured.maxCoeff() - value, 2);
        }
    }
    // 330 readings, of which a handful hang together in each run: two and a half standard errors are about 3.5 %.
    EXPECT_NEAR(static_cast<double>(inside) / all, 0.95, 0.035);
    EXPECT_LT(squares, 0.9 * raw_squares);  // what the best one's error does to the others is mended
}

TEST(AlikeCylinders, BelieveADeadCylinder) {
    const Eigen::Vector4d measured(0.0, -0.01, -3.9, 0.01);
    const AlikeCylinders alike = alike_cylinders(measured, 1e-4 * Eigen::Matrix4d::Identity());
    EXPECT_NEAR(alike.mean[2], -3.9, 0.05);
    EXPECT_NEAR(alike.mean[0], alike.mean[3], 0.01);
}

}  // namespace
