// Mean and variance of values that are not known equally well.
#include "kurbel/stage/weighted_scatter.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace kurbel::test {
namespace {

TEST(WeightedScatter, HoldsNothingAtFirst) { EXPECT_EQ(WeightedScatter<double>{}.count(), 0.0); }

TEST(WeightedScatter, IsTheSampleVarianceWhereWeightsAreEqual) {
    // 2, 4, 4, 4, 5, 5, 7, 9: mean 5, sum of squared deviations 32 (counted by hand), over 8 - 1.
    WeightedScatter<double> scatter;
    for (const double value : {2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0}) scatter.add(value, 0.3);
    EXPECT_NEAR(scatter.count(), 8.0, 1e-12);
    EXPECT_NEAR(scatter.mean(), 5.0, 1e-12);
    EXPECT_NEAR(scatter.variance(), 32.0 / 7.0, 1e-12);
}

TEST(WeightedScatter, CountsDoubledWeightAsItsSquareTells) {
    // Kish's effective size of weights 1, 1, 2: (1 + 1 + 2)^2 / (1 + 1 + 4).
    WeightedScatter<double> scatter;
    scatter.add(0.1, 1.0);
    scatter.add(0.3, 1.0);
    scatter.add(0.2, 2.0);
    EXPECT_NEAR(scatter.count(), 16.0 / 6.0, 1e-12);
    EXPECT_NEAR(scatter.mean(), 0.2, 1e-12);
}

TEST(WeightedScatter, OneThatIsHardlyKnownDoesNotDecide) {
    // Firings that scatter by 0.05 of their work, and one of a hundredth of the work whose share is off by 5: it had made the place
    // scatter by 1.7, as no other did, and all others were taken for cylinders that do not burn.
    std::mt19937_64 random(11);
    std::normal_distribution<double> normal(0.0, 0.05);
    WeightedScatter<double> scatter;
    scatter.add(-5.3, 0.01 * 0.01);
    for (int n = 0; n < 40; ++n) scatter.add(normal(random), 1.0);
    EXPECT_LT(std::sqrt(scatter.variance()), 0.15);
    EXPECT_GT(std::sqrt(scatter.variance()), 0.03);
    EXPECT_NEAR(scatter.count(), 40.0, 0.1);
}

}  // namespace
}  // namespace kurbel::test
