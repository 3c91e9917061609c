// What misfires read as, and that their own scatter is learned. Readings are invented; a sum of variances is checked by hand.
#include "kurbel/stage/misfire_size.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace kurbel::test {
namespace {

using Size = MisfireSize<double>;
constexpr Size::Error kCold{0.12, 0.12};  // healthy firings of a cold engine, mostly combustion's own scatter

/// Misfires that read as 0.7 of the expected work, by 0.05 differently.
Size taught(int misfires) {
    Size size;
    std::mt19937 random(7);
    std::normal_distribution<double> reading(0.7, 0.05);
    for (int n = 0; n < misfires; ++n) size.learn(reading(random), kCold, 1.0);
    return size;
}

TEST(MisfireSize, ScattersAtFirstAsHealthyFiringsAndTheSizeDo) {
    EXPECT_NEAR(Size{}.deviation(kCold), std::hypot(0.12, 0.1), 1e-12);
}

TEST(MisfireSize, LearnsThatMisfiresScatterLess) {
    const Size size = taught(100);
    EXPECT_NEAR(size.deviation(kCold), 0.05, 0.02);
    EXPECT_NEAR(size.size(), 0.7, 0.05);
}

TEST(MisfireSize, HoldsAWeakBurnForLessOfAMisfireTheMoreItKnows) {
    // A reading of 0.5 lies four of their deviations below what misfires read as, yet within two of the first guess.
    const Size size = taught(100);
    EXPECT_LT(size.density(0.5, kCold), 0.2 * size.density(0.7, kCold));
    EXPECT_GT(taught(3).density(0.5, kCold), 0.2 * taught(3).density(0.7, kCold));
}

TEST(MisfireSize, OfAWorkThatIsAGuessMayBeLessUntilMisfiresShowIt) {
    constexpr Size::Error kGuessed{0.05, 0.05, 0.4};
    EXPECT_GT(Size{}.density(0.35, kGuessed), 2.0 * Size{}.density(0.35, {0.05, 0.05}));
    Size size;
    for (int n = 0; n < 100; ++n) size.learn(1.0, kGuessed, 1.0);
    EXPECT_LT(size.density(0.35, kGuessed), 0.01 * size.density(1.0, kGuessed));
}

TEST(MisfireSize, NeverScattersMoreThanHealthyFiringsAndTheSizeDo) {
    Size size;
    std::mt19937 random(8);
    std::normal_distribution<double> reading(1.0, 0.5);  // what a pattern that lags behind the pedal does to them
    for (int n = 0; n < 200; ++n) size.learn(reading(random), kCold, 1.0);
    EXPECT_LE(size.deviation(kCold), std::hypot(0.12, 0.1 * size.size()) + 1e-12);
}

TEST(MisfireSize, TellsWhatMeasurementAddsToHealthyFirings) {
    // Of what misfires differ by, a loss of half has 0.85.
    EXPECT_NEAR(Size{}.measured_variance(kCold), 0.85 * 0.5 * 0.12 * 0.12, 1e-12);
    EXPECT_NEAR(std::sqrt(taught(100).measured_variance(kCold) / 0.85), 0.05, 0.015);
    // A window that is measured worse than usual is so by what is measured, and no engine's misfires show more than all of it.
    const double usual = taught(100).measured_variance(kCold);
    EXPECT_NEAR(taught(100).measured_variance({0.12, 0.20}), usual + 0.85 * (0.20 * 0.20 - 0.12 * 0.12), 1e-12);
    EXPECT_NEAR(taught(100).measured_variance({0.03, 0.03}), 0.85 * 0.03 * 0.03, 1e-12);
}

TEST(MisfireSize, LearnsNothingOfWhatAWindowAddsForATime) {
    // Every other misfire comes in a window in which all firings scatter by 0.3 more: misfires that differ by 0.05 still do.
    Size size;
    std::mt19937 random(11);
    std::normal_distribution<double> normal(0.0, 1.0);
    for (int n = 0; n < 400; ++n) {
        const bool shaken = n % 2 == 1;
        size.learn(0.7 + std::hypot(0.05, shaken ? 0.3 : 0.0) * normal(random),
                   {0.12, std::hypot(0.12, shaken ? 0.3 : 0.0)}, 1.0);
    }
    EXPECT_NEAR(size.deviation(kCold), 0.05, 0.03);
    EXPECT_NEAR(size.deviation({0.12, std::hypot(0.12, 0.3)}), std::hypot(0.05, 0.3), 0.02);
}

TEST(MisfireSize, FollowsAMeasureThatChanges) {
    // A cold engine whose late spark ends: what read as 0.7 reads as 1.05 from now on.
    Size size = taught(200);
    std::mt19937 random(12);
    std::normal_distribution<double> reading(1.05, 0.05);
    for (int n = 0; n < 15; ++n) size.learn(reading(random), kCold, 1.0);
    EXPECT_NEAR(size.size(), 1.05, 0.12);
}

TEST(MisfireSize, KnowsWhatHalfReadsAsOnceMisfiresHaveShownIt) {
    // Of engines that nothing is known of, a whole loss reads as 1, give or take 0.15; and a weak burn's half as 0.43 of it, give or take 0.06.
    EXPECT_NEAR(Size{}.weak_half().error, std::hypot(0.06, 0.43 * 0.15), 1e-12);
    const Size known = taught(100);
    EXPECT_NEAR(known.weak_half().reads, 0.43 * known.size(), 1e-12);
    EXPECT_NEAR(known.weak_half().error, std::hypot(0.06 * known.size(), 0.43 * 0.15 / std::sqrt(101.0)), 1e-12);
    EXPECT_NEAR(known.weak_most().reads, 0.53 * known.size(), 1e-12);
}

TEST(MisfireSize, ForgetsPartialLossesAsWholeOnesShow) {
    // After twenty whole losses one in twenty-two at most is expected to be partial, half of the one that was as likely before.
    Size size;
    std::mt19937 random(10);
    std::normal_distribution<double> whole(1.0, 0.04);
    for (int n = 0; n < 20; ++n) size.learn(whole(random), {0.05, 0.05}, 1.0);
    // A loss of 0.65, far from whole ones: spread evenly over 0.7 of the size.
    EXPECT_LT(size.density(0.65, {0.02, 0.02}), 0.08 / (0.7 * size.size()));
    EXPECT_GT(size.density(0.65, {0.02, 0.02}), 0.02 / (0.7 * size.size()));
}

TEST(MisfireSize, AddsWhatAWindowIsMeasuredWorseBy) {
    const Size size = taught(100);
    const double usual = size.deviation(kCold);
    EXPECT_NEAR(size.deviation({0.12, 0.20}), std::sqrt(usual * usual + 0.20 * 0.20 - 0.12 * 0.12), 1e-12);
}

TEST(MisfireSize, CountsPartialLosses) {
    // Half of the misfires lose all, half of them 0.55 to 0.65 of it: those must stay likely.
    Size size;
    std::mt19937 random(9);
    std::normal_distribution<double> whole(1.0, 0.04);
    std::uniform_real_distribution<double> partial(0.55, 0.65);
    for (int n = 0; n < 200; ++n) size.learn(n % 2 == 0 ? whole(random) : partial(random), {0.05, 0.05}, 1.0);
    EXPECT_GT(size.density(0.6, {0.05, 0.05}), 0.5);
    EXPECT_LT(taught(100).density(0.42, {0.05, 0.05}), 0.5 * size.density(0.6, {0.05, 0.05}));
}

}  // namespace
}  // namespace kurbel::test
