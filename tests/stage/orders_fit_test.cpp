// The fit of a linear model against its formulas written down in full.
#include "kurbel/stage/orders_fit.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <limits>
#include <random>

namespace kurbel::test {
namespace {

using Model = OrdersModel<double>;
using Fit = OrdersFit<double>;

Model draw(int rows, int cylinders, unsigned seed) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal;
    Model model(rows, cylinders + CylinderOrders::kSharedParts);
    for (int r = 0; r < rows; ++r) {
        model.data[r] = normal(random);
        model.weight[r] = std::exp(normal(random));
        for (int c = 0; c < model.shape.cols(); ++c) model.shape(r, c) = normal(random);
    }
    for (double& value : model.prior.reshaped()) value = std::exp(2.0 * normal(random));
    return model;
}

/// Covariance of the data: that of the noise, and what the coefficients scatter by.
Eigen::MatrixXd covariance_of(const Model& model) {
    const Eigen::MatrixXd shape = model.shape;
    const Eigen::VectorXd noise = model.weight.cwiseInverse();
    const Eigen::VectorXd scatter = model.prior.cwiseInverse();
    const Eigen::MatrixXd of_coefficients = shape * scatter.asDiagonal() * shape.transpose();
    return Eigen::MatrixXd(noise.asDiagonal()) + of_coefficients;
}

/// Log-likelihood of the data as a normal vector of this covariance, without its constant.
double log_likelihood(const Eigen::VectorXd& data, const Eigen::MatrixXd& covariance) {
    const Eigen::LDLT<Eigen::MatrixXd> ldlt(covariance);
    return -0.5 * data.dot(ldlt.solve(data)) - 0.5 * ldlt.vectorD().array().log().sum();
}

TEST(OrdersFit, TellsTheLikelihoodOfTheData) {
    for (const int cylinders : {2, 4, 6, 16}) {
        const Model model = draw(2 * cylinders, cylinders, static_cast<unsigned>(cylinders));
        // What it leaves out: half of the logarithms of weights and priors.
        const double left_out = 0.5 * (model.weight.array().log().sum() + model.prior.array().log().sum());
        EXPECT_NEAR(Fit(model, cylinders).evidence() + left_out,
                    log_likelihood(Eigen::VectorXd(model.data), covariance_of(model)), 1e-8)
            << cylinders;
    }
}

TEST(OrdersFit, TellsWhatLossesWouldAddToTheLikelihood) {
    for (const int cylinders : {2, 4, 6, 16}) {
        const Model model = draw(2 * cylinders, cylinders, 100 + static_cast<unsigned>(cylinders));
        const Fit fit(model, cylinders);
        const Eigen::MatrixXd covariance = covariance_of(model);
        std::mt19937_64 random(7);
        std::normal_distribution<double> normal;
        Eigen::VectorXd lost = Eigen::VectorXd::Zero(model.shape.cols());
        for (int k = 0; k < cylinders; ++k) lost[k] = normal(random);
        const Eigen::VectorXd without = model.data - model.shape * lost;
        const double gained = log_likelihood(without, covariance) - log_likelihood(model.data, covariance);
        const Eigen::VectorXd of_cylinders = lost.head(cylinders);
        const double told = Eigen::VectorXd(fit.linear()).dot(of_cylinders) -
                            0.5 * of_cylinders.dot(Eigen::MatrixXd(fit.quadratic()) * of_cylinders);
        EXPECT_NEAR(told, gained, 1e-8 * (1.0 + std::fabs(gained))) << cylinders;
    }
}

TEST(OrdersFit, OfWhatIsNotANumberIsTheLeastLikely) {
    Model model = draw(8, 4, 1);
    model.shape(3, 2) = std::numeric_limits<double>::quiet_NaN();
    EXPECT_EQ(Fit(model, 4).evidence(), std::numeric_limits<double>::lowest());
}

}  // namespace
}  // namespace kurbel::test
