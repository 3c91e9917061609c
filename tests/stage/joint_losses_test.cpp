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
struct Row : JointLosses<double> {
    Row(const std::vector<double>& lost, double next, double second, int dead = -1, int failing_step = 0)
        : next_(next), second_(second) {
        const int firings = static_cast<int>(lost.size());
        for (int i = 0; i < firings; ++i) {
            double read = 0.0;
            for (int j = 0; j < firings; ++j) read += share(i, j) * lost[static_cast<std::size_t>(j)];
            add(read, 100.0, 0.4, i == dead, failing_step > 0 && i % failing_step == 0);
        }
    }
    void look(double whole, bool calm) {
        find(whole, calm, [this](int i, int from) { return share(i, from); });
    }

  private:
    [[nodiscard]] double share(int i, int j) const {
        const int apart = std::abs(i - j);
        return apart == 0 ? 1.0 : apart == 1 ? next_ : apart == 2 ? second_ : 0.0;
    }
    double next_;
    double second_;
};

void expect(const JointLosses<double>& joint, const std::vector<double>& lost, double within) {
    for (int i = 0; i < joint.count(); ++i) {
        EXPECT_NEAR(joint.lost(i), lost[static_cast<std::size_t>(i)], within) << i;
        EXPECT_NEAR(joint.alone(i), lost[static_cast<std::size_t>(i)], within) << i;
    }
}

TEST(JointLosses, NothingLostNeedsNoExplanation) {
    EXPECT_FALSE(Row({0.1, -0.2, 0.3, 0.0}, 0.5, 0.1).any());
    EXPECT_TRUE(Row({0.1, 0.5, 0.0, 0.0}, 0.5, 0.1).any());
}

TEST(JointLosses, EachSetOfWholeLossesIsFound) {
    for (unsigned set = 1; set < 64; ++set) {
        std::vector<double> lost;
        for (unsigned i = 0; i < 6; ++i) lost.push_back((set >> i) & 1U ? 1.0 : 0.0);
        for (const auto& [next, second] : {std::pair{0.5, 0.1}, std::pair{0.7, 0.3}, std::pair{-0.3, 0.1}}) {
            Row joint(lost, next, second);
            joint.look(1.0, true);
            expect(joint, lost, 1e-6);
        }
    }
}

TEST(JointLosses, BetweenTwoLossesAHealthyFiringReadsMost) {
    const std::vector<double> lost{0.0, 1.0, 0.0, 1.0, 0.0};
    Row joint(lost, 0.8, 0.4);
    joint.look(1.0, true);
    expect(joint, lost, 1e-6);
    // Where readings scatter by more than they say, which of them it was is not asked: the one between explains most.
    Row restless(lost, 0.8, 0.4);
    restless.look(1.0, false);
    EXPECT_GT(restless.lost(2), 1.3);
    EXPECT_EQ(restless.lost(1), 0.0);
    EXPECT_EQ(restless.lost(3), 0.0);
}

TEST(JointLosses, WhatEveryOtherOneLostIsFoundWhereItIsExpected) {
    // Each hides the others, as where the trend has most of them: none stands out.
    const std::vector<double> lost{1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0};
    Row hidden(lost, 0.1, -0.45);
    EXPECT_TRUE(hidden.any()) << "the ends read more";
    Row expected(lost, 0.1, -0.45, -1, 2);
    ASSERT_TRUE(expected.any());
    expected.look(1.0, true);
    expect(expected, lost, 1e-6);
    // Who is expected to lose its work, and has done it, has not lost it.
    Row burns(std::vector<double>(8, 0.0), 0.1, -0.45, -1, 2);
    burns.look(1.0, true);
    expect(burns, std::vector<double>(8, 0.0), 1e-6);
    // One that is held dead deviates where it burns, expected or not.
    Row dead({0.0, 0.0, 0.0, 0.0}, 0.5, 0.1, 0, 4);
    EXPECT_FALSE(dead.any());
}

TEST(JointLosses, APartialLossIsLeftAsItIs) {
    Row joint({0.0, 0.6, 0.0}, 0.5, 0.1);
    joint.look(1.0, true);
    EXPECT_NEAR(joint.lost(1), 0.6, 0.05);
    EXPECT_NEAR(joint.alone(0), 0.0, 0.03);
    EXPECT_NEAR(joint.alone(2), 0.0, 0.03);
}

TEST(JointLosses, WhatALossReadsAsScalesAll) {
    // A cold engine, whose lost works read as half.
    const std::vector<double> lost{0.5, 0.0, 0.5, 0.0};
    Row joint(lost, 0.8, 0.4);
    joint.look(0.5, true);
    expect(joint, lost, 1e-6);
}

TEST(JointLosses, ADeadCylinderDeviatesWhereItBurns) {
    std::vector<double> lost{0.0, -1.0, 0.0, 1.0};
    Row joint(lost, 0.5, 0.1, 1);
    ASSERT_TRUE(joint.any());
    joint.look(1.0, true);
    expect(joint, lost, 1e-6);
    EXPECT_FALSE(Row({0.0, 0.1, 0.0, 0.0}, 0.5, 0.1, 1).any()) << "as the pattern has it";
}

}  // namespace
}  // namespace kurbel::test
