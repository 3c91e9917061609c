// Noise of single edges and slow swing of the driveline beside a lost combustion, against the same sums written out with Eigen.
#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <random>

#include "kurbel/stage/driveline_swing.hpp"
#include "kurbel/stage/edge_noise.hpp"
#include "stage/rigid_crank.hpp"

namespace kurbel::test {
namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;

struct Noise : MatchedCrank {
    Noise() : MatchedCrank(engine_of({1, 3, 4, 2}), SensorAt::front, 1500.0, 0.05) {}

    /// Each edge is off by `deviation`: 1, -2, 1 in the differences of energy.
    Window edges(double deviation) {
        Window x{};
        for (int j = -2; j < size; ++j) {
            const double error = deviation * normal(random);
            for (const int i : {0, 1, 2})
                if (j + i >= 0 && j + i < size)
                    x[static_cast<std::size_t>(j + i)] += static_cast<float>((i == 1 ? -2.0 : 1.0) * error);
        }
        return x;
    }
    void add_response(Window& x, float amplitude) const {
        for (int j = 0; j < size; ++j)
            x[static_cast<std::size_t>(j)] += amplitude * bank.response(1)[static_cast<std::size_t>(j)];
    }
    [[nodiscard]] Vector response() const {
        Vector g(size);
        for (int j = 0; j < size; ++j) g[j] = static_cast<double>(bank.response(1)[static_cast<std::size_t>(j)]);
        return g;
    }
    /// The matrix that was factorised: solved for each unit vector, and inverted.
    [[nodiscard]] Matrix factorised() const {
        Matrix inverse(size, size);
        for (int k = 0; k < size; ++k) {
            Window unit{};
            unit[static_cast<std::size_t>(k)] = 1.0F;
            Window w{};
            covariance.solve(unit, w, size);
            for (int j = 0; j < size; ++j) inverse(j, k) = static_cast<double>(w[static_cast<std::size_t>(j)]);
        }
        return inverse.inverse();
    }
    [[nodiscard]] Matrix edge_shapes() const {
        Matrix t = Matrix::Zero(size, size + 2);
        for (int j = -2; j < size; ++j)
            for (const int i : {0, 1, 2})
                if (j + i >= 0 && j + i < size) t(j + i, j + 2) = i == 1 ? -2.0 : 1.0;
        return t;
    }

    std::mt19937_64 random{5};
    std::normal_distribution<double> normal;
};

TEST(EdgeNoise, IsMeasuredInAnglesAndWeighsByEnergyOverWork) {
    Noise n;
    EdgeNoise noise;
    double mean = 0.0;
    for (int i = 0; i < 400; ++i) {
        Window x = n.edges(0.02 * 3.0);
        for (float& value : x) value += 0.5F;  // what swings slowly is no edge
        n.add_response(x, 0.8F);
        noise.learn(x, n.bank.response(1), 0.8F, n.size, 3.0F);
        if (i >= 100) mean += static_cast<double>(noise.excess(6.0F, 0.0F)) / 300.0;
    }
    const double truth = 0.02 * 0.02 * 36.0;
    EXPECT_NEAR(mean, truth, 0.1 * truth);
}

TEST(EdgeNoise, OnlyWhatTheCovarianceLacksIsExcess) {
    Noise n;
    EdgeNoise noise;
    for (int i = 0; i < 50; ++i) noise.learn(n.edges(0.1), n.bank.response(1), 0.0F, n.size, 1.0F);
    EXPECT_EQ(noise.excess(1.0F, 70.0F * 0.02F), 0.0F);
    EXPECT_GT(noise.excess(2.0F, 70.0F * 0.02F), 0.005F);
    EXPECT_FALSE(noise.moved(0.0F, 1.0F));
    EXPECT_TRUE(noise.moved(1.0F, 1.0F));
    noise.match(1.0F);
    EXPECT_FALSE(noise.moved(1.1F, 1.0F));
    EXPECT_TRUE(noise.moved(0.0F, 1.0F));
}

TEST(EdgeNoise, OneOddWindowTellsLittle) {
    Noise n;
    EdgeNoise noise;
    for (int i = 0; i < 100; ++i) noise.learn(n.edges(0.02), n.bank.response(1), 0.0F, n.size, 1.0F);
    const float before = noise.excess(1.0F, 0.0F);
    noise.learn(n.edges(1.0), n.bank.response(1), 0.0F, n.size, 1.0F);
    EXPECT_GT(noise.excess(1.0F, 0.0F), before);
    EXPECT_LT(noise.excess(1.0F, 0.0F), 1.5F * before);
}

TEST(EdgeNoise, StandsInTheFactorisedCovarianceAndInTheAmplitude) {
    Noise n;
    ASSERT_TRUE(n.covariance.factorise(0.0F));
    const Matrix calm = n.factorised();
    constexpr double kEdge = 0.003;
    ASSERT_TRUE(n.covariance.factorise(0.0F, static_cast<float>(kEdge)));
    const Matrix noisy = n.factorised();
    const Matrix t = n.edge_shapes();
    EXPECT_LT((noisy - calm - kEdge * t * t.transpose()).norm(), 2e-3 * noisy.norm());
    n.bank.match(n.covariance);
    const Vector g = n.response();
    const Vector w = noisy.ldlt().solve(g);
    const double added = (t.transpose() * w).squaredNorm() / std::pow(w.dot(g), 2.0);
    EXPECT_NEAR(static_cast<double>(n.bank.edge_variance(1)), added, 5e-3 * added);
}

TEST(EdgeNoise, MeanSquareOfSecondDifferences) {
    Noise n;
    n.covariance.begin(n.size);
    Window x = n.edges(0.1);
    n.covariance.add_prior(x, 1.0F);
    n.covariance.end_prior();
    double sum = 0.0;
    for (int j = 0; j + 2 < n.size; ++j) {
        const auto at = static_cast<std::size_t>(j);
        sum += std::pow(static_cast<double>(x[at] - 2.0F * x[at + 1] + x[at + 2]), 2.0);
    }
    EXPECT_NEAR(static_cast<double>(n.covariance.bend()), sum / (n.size - 2), 1e-4 * sum / (n.size - 2));
}

struct Swing : Noise {
    Swing() { swing.match(covariance, size); }
    [[nodiscard]] Matrix modes() const {
        Matrix b(size, 2);
        for (int j = 0; j < size; ++j) {
            b(j, 0) = 1.0;
            b(j, 1) = 2.0 * j / (size - 1.0) - 1.0;
        }
        return b;
    }
    DrivelineSwing swing;
};

TEST(DrivelineSwing, LevelAndTiltAreWhatSuchWindowsReadAs) {
    Noise n;
    for (int k = 0; k < 4; ++k) {
        Window level{};
        Window tilt{};
        for (int j = 0; j < n.size; ++j) {
            level[static_cast<std::size_t>(j)] = 1.0F;
            tilt[static_cast<std::size_t>(j)] = static_cast<float>(2.0 * j / (n.size - 1) - 1.0);
        }
        EXPECT_NEAR(n.bank.level(k), n.bank.match_whole(k, level).amplitude, 1e-4F) << k;
        EXPECT_NEAR(n.bank.tilt(k), n.bank.match_whole(k, tilt).amplitude, 1e-4F) << k;
    }
}

TEST(DrivelineSwing, IsTheGeneralisedLeastSquaresOfTheWiderCovariance) {
    Swing s;
    Window x = s.edges(0.05);
    s.add_response(x, 1.0F);
    const Matrix b = s.modes();
    for (int j = 0; j < s.size; ++j) x[static_cast<std::size_t>(j)] += static_cast<float>(0.7 - 0.4 * b(j, 1));
    const DrivelineSwing::Modes variance{0.5F, 0.2F};
    DrivelineSwing::Modes states{};
    const ResponseBank::Match beside =
        s.swing.match(s.bank.match_whole(1, x), x, s.bank.response(1), s.covariance, variance, states);
    const Matrix prior = Vector{{0.5, 0.2}}.asDiagonal();
    const Matrix calm = s.factorised();
    const Matrix wide = calm + b * prior * b.transpose();
    const Vector g = s.response();
    Vector window(s.size);
    for (int j = 0; j < s.size; ++j) window[j] = static_cast<double>(x[static_cast<std::size_t>(j)]);
    const Vector w = wide.ldlt().solve(g);
    const double precision = w.dot(g);
    const double amplitude = w.dot(window) / precision;
    const Vector expected = prior * b.transpose() * wide.ldlt().solve(window - amplitude * g);
    EXPECT_NEAR(static_cast<double>(beside.precision), precision, 0.02 * precision);
    EXPECT_NEAR(static_cast<double>(beside.amplitude), amplitude, 0.01);
    EXPECT_NEAR(static_cast<double>(states[0]), expected[0], 0.01);
    EXPECT_NEAR(static_cast<double>(states[1]), expected[1], 0.01);
    // Alone, the swing is taken for work that was won or lost.
    EXPECT_GT(std::fabs(static_cast<double>(s.bank.match_whole(1, x).amplitude) - 1.0), 0.3);
    EXPECT_NEAR(static_cast<double>(beside.amplitude), 1.0, 0.15);
    s.swing.take_out(states, x);
    Window left{};
    s.add_response(left, -1.0F);
    double sum = 0.0;
    for (int j = 0; j < s.size; ++j)
        sum += static_cast<double>(x[static_cast<std::size_t>(j)] + left[static_cast<std::size_t>(j)]);
    EXPECT_NEAR(sum / s.size, 0.0, 0.05);
}

TEST(DrivelineSwing, NeitherScatterNorALossCountsAsOne) {
    Swing s;
    for (int i = 0; i < 200; ++i) {
        Window x = s.edges(0.02);
        s.add_response(x, i % 2 == 0 ? 1.2F : 0.0F);
        EXPECT_FALSE(DrivelineSwing::any(s.swing.variance(x, s.bank.response(1), 0.0F))) << i;
    }
}

TEST(DrivelineSwing, AStepOfTorqueIsASwingBeforeItShows) {
    Swing s;
    const Window calm = s.edges(0.02);
    const DrivelineSwing::Modes variance = s.swing.variance(calm, s.bank.response(1), 0.1F);
    EXPECT_FLOAT_EQ(variance[0], 0.01F);
    EXPECT_FLOAT_EQ(variance[1], 0.01F);
    // Where more is seen, that counts.
    Window shaken = calm;
    for (int j = 0; j < s.size; ++j) shaken[static_cast<std::size_t>(j)] += 5.0F;
    EXPECT_GT(s.swing.variance(shaken, s.bank.response(1), 0.1F)[0], 1.0F);
}

TEST(DrivelineSwing, LastsForSomeWindowsAndEnds) {
    Swing s;
    Window x{};
    for (int j = 0; j < s.size; ++j) x[static_cast<std::size_t>(j)] = 1.5F;
    const DrivelineSwing::Modes shaken = s.swing.variance(x, s.bank.response(1), 0.0F);
    EXPECT_GT(shaken[0], 1.0F);
    EXPECT_EQ(shaken[1], 0.0F);
    s.swing.follow(shaken);
    const Window calm{};
    EXPECT_NEAR(s.swing.variance(calm, s.bank.response(1), 0.0F)[0], 0.7F * shaken[0], 1e-5F);
    int windows = 0;
    for (; DrivelineSwing::any(s.swing.variance(calm, s.bank.response(1), 0.0F)) && windows < 100; ++windows)
        s.swing.follow(s.swing.variance(calm, s.bank.response(1), 0.0F));
    EXPECT_GT(windows, 3);
    EXPECT_LT(windows, 40);
}

}  // namespace
}  // namespace kurbel::test
