// Who lost what among firings that read each other's losses.
#include "kurbel/stage/joint_losses.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <utility>
#include <vector>

namespace kurbel::test {
namespace {

/// Firings in a row that read `next` of a loss beside them and `second` of one two places away, each measured with a deviation of 0.1.
JointLosses<double> reading(const std::vector<double>& lost, double next, double second, int dead = -1) {
    const auto share = [&](int apart) { return apart == 0 ? 1.0 : apart == 1 ? next : apart == 2 ? second : 0.0; };
    JointLosses<double> joint;
    const int count = static_cast<int>(lost.size());
    for (int i = 0; i < count; ++i) {
        double read = 0.0;
        for (int j = 0; j < count; ++j) read += share(std::abs(i - j)) * lost[static_cast<std::size_t>(j)];
        joint.add(read, 100.0, 0.4, i == dead);
    }
    for (int i = 0; i < count; ++i)
        for (int j = 0; j < count; ++j) joint.set_share(i, j, share(std::abs(i - j)));
    return joint;
}

void expect(const JointLosses<double>& joint, const std::vector<double>& lost, double within) {
    for (int i = 0; i < joint.count(); ++i) {
        EXPECT_NEAR(joint.lost(i), lost[static_cast<std::size_t>(i)], within) << i;
        EXPECT_NEAR(joint.alone(i), lost[static_cast<std::size_t>(i)], within) << i;
    }
}

TEST(JointLosses, NothingLostNeedsNoExplanation) {
    EXPECT_FALSE(reading({0.1, -0.2, 0.3, 0.0}, 0.5, 0.1).any());
    EXPECT_TRUE(reading({0.1, 0.5, 0.0, 0.0}, 0.5, 0.1).any());
}

TEST(JointLosses, EachSetOfWholeLossesIsFound) {
    for (unsigned set = 1; set < 64; ++set) {
        std::vector<double> lost;
        for (unsigned i = 0; i < 6; ++i) lost.push_back((set >> i) & 1U ? 1.0 : 0.0);
        for (const auto& [next, second] : {std::pair{0.5, 0.1}, std::pair{0.7, 0.3}, std::pair{-0.3, 0.1}}) {
            JointLosses<double> joint = reading(lost, next, second);
            joint.find(1.0, true);
            expect(joint, lost, 1e-6);
        }
    }
}

TEST(JointLosses, BetweenTwoLossesAHealthyFiringReadsMost) {
    const std::vector<double> lost{0.0, 1.0, 0.0, 1.0, 0.0};
    JointLosses<double> joint = reading(lost, 0.8, 0.4);
    joint.find(1.0, true);
    expect(joint, lost, 1e-6);
    // Where readings scatter by more than they say, which of them it was is not asked: the one between explains most.
    JointLosses<double> restless = reading(lost, 0.8, 0.4);
    restless.find(1.0, false);
    EXPECT_GT(restless.lost(2), 1.3);
    EXPECT_EQ(restless.lost(1), 0.0);
    EXPECT_EQ(restless.lost(3), 0.0);
}

TEST(JointLosses, APartialLossIsLeftAsItIs) {
    JointLosses<double> joint = reading({0.0, 0.6, 0.0}, 0.5, 0.1);
    joint.find(1.0, true);
    EXPECT_NEAR(joint.lost(1), 0.6, 0.05);
    EXPECT_NEAR(joint.alone(0), 0.0, 0.03);
    EXPECT_NEAR(joint.alone(2), 0.0, 0.03);
}

TEST(JointLosses, WhatALossReadsAsScalesAll) {
    // A cold engine, whose lost works read as half.
    const std::vector<double> lost{0.5, 0.0, 0.5, 0.0};
    JointLosses<double> joint = reading(lost, 0.8, 0.4);
    joint.find(0.5, true);
    expect(joint, lost, 1e-6);
}

TEST(JointLosses, ADeadCylinderDeviatesWhereItBurns) {
    std::vector<double> lost{0.0, -1.0, 0.0, 1.0};
    JointLosses<double> joint = reading(lost, 0.5, 0.1, 1);
    ASSERT_TRUE(joint.any());
    joint.find(1.0, true);
    expect(joint, lost, 1e-6);
    EXPECT_FALSE(reading({0.0, 0.1, 0.0, 0.0}, 0.5, 0.1, 1).any()) << "as the pattern has it";
}

}  // namespace
}  // namespace kurbel::test
