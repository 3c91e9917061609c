// What misfires teach, against the mixed linear model solved as one system.
#include "kurbel/stage/learned_response.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <vector>

namespace kurbel::test {
namespace {

constexpr std::size_t kLength = 40;
using Learned = LearnedResponse<kLength>;
using Places = Learned::Places;

constexpr int kFirings = 6;
constexpr Places kGain{0.9F, -0.2F, 0.6F, -0.4F, 0.3F, 0.1F};
constexpr float kNoise = 0.04F;
constexpr Learned::Expected kExpected{0.1F, 0.03F, 0.2F};

Learned fresh() {
    Learned learned;
    learned.begin(kFirings, kGain);
    return learned;
}

Learned::Response constant(float value) {
    Learned::Response x{};
    x.fill(value);
    return x;
}

TEST(LearnedResponse, IsNothingBeforeTheFirstMisfire) {
    const Learned learned = fresh();
    Places deviation{};
    const float variance = learned.at(3, kNoise, kExpected, deviation);
    for (int k = 0; k < kFirings; ++k) EXPECT_EQ(deviation[static_cast<std::size_t>(k)], 0.0F);
    EXPECT_NEAR(variance, kExpected.common * kExpected.common, 1e-6F);
}

TEST(LearnedResponse, IsThePosteriorMeanOfCommonAndOwnParts) {
    // Unknowns: common part, six own parts; normal priors and noise. Torsion is taken for nothing here.
    Learned learned = fresh();
    const std::vector<int> places{0, 1, 1, 4, 2, 0, 0};
    const std::vector<float> seen{0.3F, 0.1F, 0.15F, -0.1F, 0.2F, 0.35F, 0.25F};
    Eigen::MatrixXd information = Eigen::MatrixXd::Zero(7, 7);
    Eigen::VectorXd side = Eigen::VectorXd::Zero(7);
    information(0, 0) = 1.0 / (0.1 * 0.1);
    for (int k = 0; k < kFirings; ++k) information(k + 1, k + 1) = 1.0 / (0.03 * 0.03);
    for (std::size_t i = 0; i < places.size(); ++i) {
        learned.learn(places[i], constant(seen[i]), static_cast<int>(kLength), 1.0F);
        Eigen::VectorXd row = Eigen::VectorXd::Zero(7);
        row[0] = row[places[i] + 1] = 1.0;
        information += row * row.transpose() / static_cast<double>(kNoise);
        side += row * static_cast<double>(seen[i]) / static_cast<double>(kNoise);
    }
    const Eigen::VectorXd solved = information.ldlt().solve(side);
    Places deviation{};
    const float variance = learned.at(7, kNoise, {0.1F, 0.03F, 0.0F}, deviation);
    // The memory of 200 misfires is forgotten by some per cent here.
    for (int k = 0; k < kFirings; ++k)
        EXPECT_NEAR(static_cast<double>(deviation[static_cast<std::size_t>(k)]), solved[0] + solved[k + 1], 0.003) << k;
    EXPECT_NEAR(static_cast<double>(variance), information.inverse()(0, 0), 0.0002);
}

/// Misfires at all places but the last, whose deviations grow with the gain.
void teach_twist(Learned& learned, float common, float twist) {
    for (int n = 0; n < 200; ++n) {
        const int k = n % (kFirings - 1);
        learned.learn(k, constant(common + twist * kGain[static_cast<std::size_t>(k)]), static_cast<int>(kLength),
                      1.0F);
    }
}

TEST(LearnedResponse, WhatTorsionDoesHoldsForAPlaceThatNeverMisfired) {
    Learned learned = fresh();
    teach_twist(learned, 0.05F, 0.4F);
    Places deviation{};
    learned.at(20, kNoise, kExpected, deviation);
    for (int k = 0; k < kFirings; ++k) {
        const float gain = kGain[static_cast<std::size_t>(k)];
        EXPECT_NEAR(deviation[static_cast<std::size_t>(k)], 0.05F + 0.4F * gain, 0.03F) << k;
    }
    // Where no torsion is expected only what all share is passed on.
    learned.at(20, kNoise, {0.1F, 0.03F, 0.0F}, deviation);
    EXPECT_GT(std::fabs(deviation[0] - 0.41F), 0.05F);
}

TEST(LearnedResponse, TorsionIsAnotherAtAnotherSpeed) {
    Learned learned = fresh();
    teach_twist(learned, 0.05F, 0.4F);
    learned.forget(0.9F);
    Places deviation{};
    learned.at(20, kNoise, kExpected, deviation);
    // What the last place shows now is what all share; what stays of the others is their own.
    EXPECT_LT(deviation[5], 0.25F);
    EXPECT_LT(deviation[0], 0.38F);
    const float former = deviation[0];
    for (int n = 0; n < 20; ++n)
        for (int k = 0; k < kFirings - 1; ++k)
            learned.learn(k, constant(0.05F - 0.4F * kGain[static_cast<std::size_t>(k)]), static_cast<int>(kLength),
                          1.0F);
    learned.at(20, kNoise, kExpected, deviation);
    EXPECT_LT(deviation[0], former - 0.2F);
}

TEST(LearnedResponse, BinsBeyondWhatIsKnownStayAsTheyAre) {
    Learned learned = fresh();
    learned.learn(2, constant(1.0F), 10, 1.0F);
    Places deviation{};
    learned.at(9, kNoise, kExpected, deviation);
    EXPECT_GT(deviation[2], 0.05F);
    learned.at(10, kNoise, kExpected, deviation);
    EXPECT_EQ(deviation[2], 0.0F);
    EXPECT_NEAR(learned.misfires(), 1.0F, 1e-6F);
}

}  // namespace
}  // namespace kurbel::test
