// Whether what follows from a row of firings is what adding up all ways in which a cylinder may have worked and failed comes to.
#include "kurbel/stage/failing_cylinders.hpp"

#include <gtest/gtest.h>

#include <cstddef>
#include <vector>

namespace kurbel::test {
namespace {

using Failing = FailingCylinders<double>;
constexpr double kUsual = 0.01;

/// Rate that a row of likelihood ratios leads to.
double rate_after(const std::vector<double>& ratios, double usual = kUsual) {
    Failing failing;
    failing.begin();
    for (const double ratio : ratios) failing.follow(1, ratio, usual);
    return Failing::rate(failing.failing(1), usual);
}

/// Probability that a cylinder fails at the last of them: all paths through the two states by their definition, 2 to the number of firings.
double failing_by_all_paths(const std::vector<double>& ratios) {
    constexpr double kBegins = 1e-4;
    constexpr double kEnds = 0.02;
    constexpr double kFails = 0.9;
    double fails = 0.0;
    double all = 0.0;
    for (unsigned path = 0; path < (1U << ratios.size()); ++path) {
        double likelihood = 1.0;
        bool failing = false;
        for (std::size_t n = 0; n < ratios.size(); ++n) {
            const bool now = ((path >> n) & 1U) != 0;
            // Whoever works begins to fail with one chance, whoever fails stops with another; that he does both at once counts as failing.
            likelihood *= failing ? (now ? 1.0 - kEnds + kEnds * kBegins : kEnds * (1.0 - kBegins))
                                  : (now ? kBegins : 1.0 - kBegins);
            const double rate = now ? kFails : kUsual;
            likelihood *= rate * ratios[n] + 1.0 - rate;
            failing = now;
        }
        all += likelihood;
        if (failing) fails += likelihood;
    }
    return fails / all;
}

TEST(FailingCylinders, IsTheSumOverAllPaths) {
    const std::vector<std::vector<double>> rows{{20.0, 30.0, 8.0},
                                                {0.1, 50.0, 50.0, 50.0},
                                                {90.0, 90.0, 90.0, 90.0, 0.02, 0.02},
                                                {3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0}};
    for (const auto& ratios : rows) {
        const double fails = failing_by_all_paths(ratios);
        EXPECT_NEAR((rate_after(ratios) - kUsual) / (0.9 - kUsual) + 1e-4, fails, 0.01 * fails) << ratios.size();
    }
}

TEST(FailingCylinders, DoubtfulLossesInARowAreBelieved) {
    EXPECT_DOUBLE_EQ(rate_after({}), kUsual);
    EXPECT_LT(rate_after({100.0}), 2.0 * kUsual);
    EXPECT_LT(rate_after({20.0, 20.0}), 0.2);
    EXPECT_GT(rate_after({20.0, 20.0, 20.0, 20.0}), 0.5);
    // A healthy firing between them is a sign of health, and two say so clearly.
    EXPECT_LT(rate_after({20.0, 0.01, 20.0, 0.01, 20.0, 0.01}), 1.1 * kUsual);
    EXPECT_LT(rate_after({20.0, 20.0, 20.0, 20.0, 0.01, 0.01}), 0.5);
}

TEST(FailingCylinders, HealthyFiringsLeaveTheUsualRateAlone) {
    EXPECT_DOUBLE_EQ(rate_after(std::vector<double>(1000, 0.01)), kUsual);
    EXPECT_NEAR(rate_after(std::vector<double>(1000, 0.5)), kUsual, 0.01 * kUsual);
}

TEST(FailingCylinders, WhoeverMisfiresAtRandomDoesNotFail) {
    // One in ten, each beyond doubt, of a cylinder of which that is known.
    std::vector<double> ratios(1000, 0.01);
    for (std::size_t n = 0; n < ratios.size(); n += 10) ratios[n] = 1e6;
    EXPECT_NEAR(rate_after(ratios, 0.1), 0.1, 0.01);
}

TEST(FailingCylinders, OneTellsNothingOfAnother) {
    Failing failing;
    failing.begin();
    for (int n = 0; n < 6; ++n) failing.follow(3, 100.0, kUsual);
    EXPECT_GT(failing.failing(3), 0.8);
    EXPECT_EQ(failing.failing(2), 0.0);
    failing.forget(3);
    EXPECT_EQ(failing.failing(3), 0.0);
}

}  // namespace
}  // namespace kurbel::test
