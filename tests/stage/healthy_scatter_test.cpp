// The healthy scatter on draws of known distribution.
// Numbers "by SciPy" come from scipy.stats 1.10.1 (norm, gamma) and scipy.integrate.
#include "kurbel/stage/healthy_scatter.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace kurbel::test {
namespace {

using Scatter = HealthyScatter<double>;

TEST(NormalQuantile, AgreesWithTheExactOne) {
    // norm.isf by SciPy; the approximation promises 4.5e-4.
    EXPECT_NEAR(normal_quantile(0.1), 1.2815515655446004, 4.5e-4);
    EXPECT_NEAR(normal_quantile(0.02275), 2.0000024438996036, 4.5e-4);
    EXPECT_NEAR(normal_quantile(1e-3), 3.090232306167813, 4.5e-4);
    EXPECT_NEAR(normal_quantile(2e-5), 4.10747965458625, 4.5e-4);
    EXPECT_NEAR(normal_quantile(1e-9), 5.9978070150076865, 4.5e-4);
}

TEST(BentNormal, IsNearTheGammaDistribution) {
    // Gamma of shape 9: deviates from the median over the scaled median deviation, by SciPy: isf(1e-3) 4.2930, isf(2e-5) 6.2607.
    // Bend by Wilson and Hilferty: (1/3 sqrt(k)) / (1 - 1/9k) = 0.1125.
    const BentNormal<double> tail{0.1125};
    EXPECT_NEAR(tail.from_normal(3.0902323), 4.2930, 0.03);
    EXPECT_NEAR(tail.from_normal(4.1074797), 6.2607, 0.05);
    EXPECT_NEAR(tail.to_normal(tail.from_normal(2.0)), 2.0, 1e-12);
    EXPECT_NEAR(tail.beyond(4.2930), 1e-3, 4e-5);
}

TEST(BentNormal, ExcessIsAnIntegralOverTheTail) {
    // scipy.integrate.quad of (z - 2) times the density between 2 and 3.5, and between 2 and 2.5; Simpson's three points are
    // good to 4 % at worst; the quantiles that come of it are checked below.
    EXPECT_NEAR((BentNormal<double>{0.001}.excess(2.0, 3.5)), 0.008195, 0.04 * 0.008195);
    EXPECT_NEAR((BentNormal<double>{0.1}.excess(2.0, 3.5)), 0.019979, 3e-4);
    EXPECT_NEAR((BentNormal<double>{0.1}.excess(2.0, 2.5)), 0.005457, 3e-5);
}

/// What a scatter has learned, averaged over streams of draws, and how much the streams differ.
struct Learned {
    double mean = 0.0;
    double deviation = 0.0;
    double quantile = 0.0;
    double quantile_spread = 0.0;
};

template <class Draw>
Learned learned_from(Draw&& draw) {
    constexpr int kStreams = 40;
    constexpr int kDraws = 5000;
    Learned all;
    double square = 0.0;
    for (int stream = 0; stream < kStreams; ++stream) {
        Scatter scatter;
        scatter.begin(2);
        for (int n = 0; n < kDraws; ++n)
            for (int place = 0; place < 2; ++place) scatter.learn(place, draw(), 0.0, 1.0);
        all.mean += scatter.mean(0) / kStreams;
        all.deviation += scatter.deviation(0) / kStreams;
        const double quantile = scatter.quantile(4.10747965458625);
        all.quantile += quantile / kStreams;
        square += quantile * quantile / kStreams;
    }
    all.quantile_spread = std::sqrt(square - all.quantile * all.quantile);
    return all;
}

TEST(HealthyScatter, LearnsANormalDistribution) {
    std::mt19937_64 random(1);
    std::normal_distribution<double> normal(0.07, 0.12);
    const Learned learned = learned_from([&] { return normal(random); });
    EXPECT_NEAR(learned.mean, 0.07, 0.01 * 0.12);
    EXPECT_NEAR(learned.deviation, 0.12, 0.02 * 0.12);
    EXPECT_NEAR(learned.quantile, 4.107, 0.15);
    EXPECT_LT(learned.quantile_spread, 0.4);
}

TEST(HealthyScatter, BendsItsTailForASkewedDistribution) {
    // Gamma of shape 9, skewness 2/3: median 8.668951, scaled median deviation 2.908765; what it exceeds with a chance of
    // 2e-5 lies 6.2607 such deviations above the median, with 1e-3 4.2930 of them (SciPy).
    std::mt19937_64 random(2);
    std::gamma_distribution<double> gamma(9.0, 1.0);
    const Learned learned = learned_from([&] { return 0.1 * (gamma(random) - 8.668951) / 2.908765; });
    EXPECT_NEAR(learned.mean, 0.0, 0.002);
    EXPECT_NEAR(learned.deviation, 0.1, 0.002);
    EXPECT_NEAR(learned.quantile, 6.26, 0.35);
    EXPECT_LT(learned.quantile_spread, 0.6);
}

TEST(HealthyScatter, OneInTenMisfiresHardlyMoveIt) {
    // Nine parts normal (0, 0.1), one part normal (0.8, 0.1), all taken for healthy: the median lies at 0.1397, the scaled
    // median deviation is 1.1449 of the healthy deviations (SciPy).
    std::mt19937_64 random(3);
    std::normal_distribution<double> normal(0.0, 0.1);
    std::bernoulli_distribution misfire(0.1);
    const Learned learned = learned_from([&] { return normal(random) + (misfire(random) ? 0.8 : 0.0); });
    EXPECT_NEAR(learned.mean, 0.01397, 0.002);
    EXPECT_NEAR(learned.deviation, 0.1145, 0.003);
}

TEST(HealthyScatter, MisfiresOfAWholeWorkDoNotBendItsTail) {
    // Wide scatter and misfires that nobody recognises: only what lost less than half may speak about the tail.
    std::mt19937_64 random(11);
    std::normal_distribution<double> normal(0.0, 0.2);
    std::bernoulli_distribution misfire(0.03);
    const Learned learned = learned_from([&] { return normal(random) + (misfire(random) ? 1.0 : 0.0); });
    EXPECT_NEAR(learned.quantile, 4.3, 0.4);
}

TEST(HealthyScatter, WeighsWhatItLearns) {
    Scatter scatter;
    scatter.begin(1);
    const Scatter before = scatter;
    for (int n = 0; n < 100; ++n) scatter.learn(0, 1.0, 0.0, 0.0);
    EXPECT_EQ(scatter.mean(0), before.mean(0));
    EXPECT_EQ(scatter.deviation(0), before.deviation(0));
    EXPECT_EQ(scatter.count(0), 0.0);
    for (int n = 0; n < 10; ++n) scatter.learn(0, 1.0, 0.0, 0.5);
    EXPECT_DOUBLE_EQ(scatter.count(0), 5.0);
    EXPECT_GT(scatter.mean(0), 0.0);
}

TEST(HealthyScatter, KnowsTheKnownPartOfTheScatter) {
    // Draws of deviation 0.2, of which 0.16 is accounted for elsewhere: 0.12 is left.
    std::mt19937_64 random(4);
    std::normal_distribution<double> normal(0.0, 0.2);
    Scatter scatter;
    scatter.begin(1);
    double sum = 0.0;
    for (int n = 0; n < 30000; ++n) {
        scatter.learn(0, normal(random), 0.16 * 0.16, 1.0);
        if (n >= 10000) sum += scatter.deviation(0) / 20000.0;
    }
    EXPECT_NEAR(sum, 0.12, 0.004);
}

TEST(HealthyScatter, KeepsDeviationsWithinLimits) {
    std::mt19937_64 random(5);
    std::normal_distribution<double> normal;
    Scatter scatter;
    scatter.begin(4);
    for (int n = 0; n < 5000; ++n)
        for (int place = 0; place < 4; ++place)
            scatter.learn(place, normal(random) * (place == 0 ? 0.5 : 0.1), 0.0, 1.0);
    // The common deviation is the scaled median of |x| over three parts of 0.1 and one of 0.5, somewhat above 0.1; a place
    // may lie half as high again.
    EXPECT_GT(scatter.deviation(0), 0.15);
    EXPECT_LT(scatter.deviation(0), 0.25);
    EXPECT_NEAR(scatter.deviation(1), 0.1, 0.01);
    for (int n = 0; n < 5000; ++n)
        for (int place = 0; place < 4; ++place) scatter.learn(place, 0.0, 0.0, 1.0);
    EXPECT_DOUBLE_EQ(scatter.deviation(2), 0.02);
}

TEST(HealthyScatter, NormalDeviatesAndQuantilesAreInverse) {
    std::mt19937_64 random(6);
    std::gamma_distribution<double> gamma(9.0, 0.03);
    Scatter scatter;
    scatter.begin(1);
    for (int n = 0; n < 3000; ++n) scatter.learn(0, gamma(random), 0.0, 1.0);
    for (const double normal : {0.5, 2.5, 3.0, 4.1, 6.0})
        EXPECT_NEAR(scatter.as_normal(scatter.quantile(normal)), normal, 1e-9);
    EXPECT_EQ(scatter.as_normal(-1.2), -1.2);
    for (double z = 0.0; z < 5.0; z += 0.01) EXPECT_LE(scatter.as_normal(z), scatter.as_normal(z + 0.01)) << z;
}

}  // namespace
}  // namespace kurbel::test
