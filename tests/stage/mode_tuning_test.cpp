// A torsion mode that is followed, against oscillations of known frequency, damping and size.
#include "kurbel/stage/mode_tuning.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>

namespace kurbel::test {
namespace {

constexpr std::size_t kLength = 40;
using Response = std::array<float, kLength>;

constexpr double kUsual = 1.25;  // radians a bin

/// What a mode does from bin 4 on.
void ring(double frequency, double damping, Response& mode) {
    mode.fill(0.0F);
    for (std::size_t j = 4; j < kLength; ++j) {
        const double turned = kUsual * frequency * static_cast<double>(j - 4);
        mode[j] = static_cast<float>(std::exp(-damping * turned) * std::cos(turned));
    }
}

struct Truth {
    double frequency;
    double damping;
    double size;
};

/// After `count` misfires seen at a place of this gain, with noise of this deviation a bin.
ModeTuning tuned(const Truth& truth, int count, float gain, double noise) {
    ModeTuning tuning;
    tuning.begin();
    std::mt19937_64 random(7);
    std::normal_distribution<double> normal(0.0, noise);
    Response real{};
    ring(truth.frequency, truth.damping, real);
    for (int n = 0; n < count; ++n) {
        Response mode{};
        ring(tuning.frequency(), tuning.damping(), mode);
        Response deviation{};
        for (std::size_t j = 0; j < kLength; ++j)
            deviation[j] = gain * (static_cast<float>(truth.size) * real[j] - tuning.size() * mode[j]) +
                           static_cast<float>(normal(random));
        tuning.learn(
            deviation, static_cast<int>(kLength), gain, ring,
            [noise](int) { return static_cast<float>(noise * noise); }, 1.0F);
    }
    return tuning;
}

TEST(ModeTuning, BeginsWithWhatIsExpected) {
    ModeTuning tuning;
    tuning.begin();
    EXPECT_DOUBLE_EQ(tuning.frequency(), 1.0);
    EXPECT_FLOAT_EQ(tuning.size(), 1.0F);
    EXPECT_DOUBLE_EQ(tuning.damping(), kFadingMean);
}

TEST(ModeTuning, FindsFrequencyDampingAndSize) {
    for (const Truth& truth :
         {Truth{0.95, 0.02, 1.0}, Truth{1.05, 0.02, 2.0}, Truth{1.0, 0.03, 0.6}, Truth{1.03, 0.05, 1.5}}) {
        const ModeTuning found = tuned(truth, 40, 1.2F, 0.2);
        EXPECT_NEAR(found.frequency(), truth.frequency, 0.01) << truth.frequency;
        EXPECT_NEAR(static_cast<double>(found.size()), truth.size, 0.15 * truth.size) << truth.frequency;
        EXPECT_NEAR(found.damping(), truth.damping, 0.012) << truth.frequency;
    }
}

TEST(ModeTuning, APlaceThatDoesNotShowTheModeTellsNothing) {
    const ModeTuning found = tuned({1.05, 0.02, 2.0}, 30, 0.0F, 0.2);
    EXPECT_DOUBLE_EQ(found.frequency(), 1.0);
    EXPECT_FLOAT_EQ(found.size(), 1.0F);
}

TEST(ModeTuning, OneMisfireMovesItByLittleAndNoNumberOfThemToAnotherHypothesis) {
    const ModeTuning once = tuned({1.2, 0.02, 6.0}, 1, 1.0F, 0.05);
    EXPECT_NEAR(once.frequency(), 1.0, 0.031);
    EXPECT_LT(once.size(), std::exp(0.31F));
    const ModeTuning often = tuned({1.2, 0.02, 6.0}, 100, 1.0F, 0.05);
    EXPECT_LT(often.frequency(), std::exp(0.081));
    EXPECT_LT(often.size(), std::exp(1.01F));
}

TEST(ModeTuning, AsksLessOftenOnceManyHaveTold) {
    ModeTuning tuning;
    tuning.begin();
    int wanted = 0;
    for (int n = 0; n < 64; ++n) wanted += tuning.wants_more() ? 1 : 0;
    EXPECT_EQ(wanted, 64);
    for (int n = 0; n < 160; ++n) wanted += tuning.wants_more() ? 1 : 0;
    EXPECT_EQ(wanted, 74);
}

}  // namespace
}  // namespace kurbel::test
