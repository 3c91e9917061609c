// The level of the charge, on invented readings.
#include "kurbel/stage/charge_level.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace kurbel::test {
namespace {

constexpr int kFirings = 4;

struct Readings {
    void take(int count, double charge, double noise) {
        for (int n = 0; n < count; ++n) level.take(charge + noise * normal(random), kFirings);
    }
    ChargeLevel<double> level{};
    std::mt19937 random{5};
    std::normal_distribution<double> normal{};
};

TEST(ChargeLevel, HoldsStillWhileReadingsScatter) {
    Readings readings;
    readings.take(400, 0.3, 0.03);
    double square = 0.0;
    for (int n = 0; n < 400; ++n) {
        readings.take(1, 0.3, 0.03);
        square += std::pow(readings.level.level() - 0.3, 2.0) / 400.0;
    }
    EXPECT_LT(std::sqrt(square), 0.5 * 0.03);
}

TEST(ChargeLevel, FollowsAFootAtOnce) {
    Readings readings;
    readings.take(400, 0.3, 0.01);
    for (int n = 1; n <= 10; ++n) {
        readings.take(1, 0.3 + 0.05 * n, 0.01);
        if (n > 1) {
            EXPECT_NEAR(readings.level.level(), 0.3 + 0.05 * n, 0.04) << n;
        }
    }
    readings.take(100, 0.8, 0.01);
    EXPECT_NEAR(readings.level.level(), 0.8, 0.02);
}

TEST(ChargeLevel, ExpectsTheUsualLoadAtItsOwnMean) {
    Readings readings;
    EXPECT_FALSE(readings.level.any());
    readings.take(200, 0.8, 0.0);
    EXPECT_TRUE(readings.level.any());
    EXPECT_NEAR(readings.level.as_load(0.8), 0.35, 1e-9);
    EXPECT_NEAR(readings.level.as_load(0.4), 0.175, 1e-9);
    EXPECT_GT(readings.level.as_load(-0.3), 0.0);
    Readings nothing;
    nothing.take(200, -0.1, 0.0);
    EXPECT_EQ(nothing.level.as_load(0.5), 0.35) << "something else than gas makes the wave";
    for (const ChargeLevel<double>& level : {readings.level, nothing.level})
        EXPECT_EQ(level.as_load(0.6), level.at_rest() + 0.6 * level.by_level());
}

}  // namespace
}  // namespace kurbel::test
