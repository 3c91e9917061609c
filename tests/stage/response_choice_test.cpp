// Which kind of response the bank chooses, and how it follows the one in use.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "kurbel/stage/response_bank.hpp"
#include "stage/response_crank.hpp"

namespace kurbel::test {
namespace {

/// What many firings together gain under one kind of response.
ResponseBank::Gains gain_of(int hypothesis, float gain) {
    ResponseBank::Gains gains{};
    gains[static_cast<std::size_t>(hypothesis)] = gain;
    return gains;
}

/// Misfires of a crank with this torsion mode, in white noise: what is chosen after `count` of them.
int chosen_after(Bank& parts, double mode_hz, int count, double noise) {
    const double per_rev = mode_hz * 60.0 / static_cast<double>(parts.bank.speed_rpm());
    for (int n = 0; n < count; ++n) {
        const int place = n % parts.config.engine.cylinders;
        Window x = with_torsion(parts, per_rev, static_cast<double>(parts.bank.torsion_gain(place)));
        parts.add_noise(x, noise);
        parts.bank.weigh(place, x, parts.covariance);
        static_cast<void>(parts.bank.choose(false));
    }
    return parts.bank.chosen();
}

TEST(ResponseBank, ChoosesTheTorsionModeThatMisfiresShow) {
    for (const int mode : {0, 2, 4, 6}) {
        Bank parts(engine_of({1, 3, 4, 2}), SensorAt::front, 2500.0);
        const double hz = parts.bank.mode_hz(mode);
        EXPECT_EQ(chosen_after(parts, hz, 40, 0.05), 1 + ResponseBank::kBeforeModes + mode) << hz << " Hz";
        EXPECT_NEAR(static_cast<double>(parts.bank.mode_per_rev()), std::min(hz, parts.bank.mode_hz(6)) * 60.0 / 2500.0,
                    1e-3);
    }
}

TEST(ResponseBank, AKindLongSeenGivesWayToAnother) {
    // Hundreds of misfires of one mode, then the engine is another: some dozen of the new ones are enough.
    Bank parts(engine_of({1, 3, 4, 2}), SensorAt::front, 2500.0);
    const auto choice = [](int mode) { return 1 + ResponseBank::kBeforeModes + mode; };
    ASSERT_EQ(chosen_after(parts, parts.bank.mode_hz(2), 400, 0.05), choice(2));
    EXPECT_EQ(chosen_after(parts, parts.bank.mode_hz(6), 16, 0.05), choice(6));
}

TEST(ResponseBank, OneMisfireThatCouldBeAnyModeIsTakenForTheUsualOne) {
    Bank parts(engine_of({1, 3, 4, 2}), SensorAt::front, 2500.0);
    ResponseBank::Gains gains{};
    for (int mode = 0; mode < ResponseBank::kModes; ++mode)
        gains[static_cast<std::size_t>(1 + ResponseBank::kBeforeModes + mode)] = 25.0F;
    parts.bank.expect(gains);
    ASSERT_TRUE(parts.bank.choose(false));
    EXPECT_EQ(parts.bank.chosen(), 1 + ResponseBank::kBeforeModes + ResponseBank::kModes / 2);
}

TEST(ResponseBank, FollowsAModeBetweenTwoHypotheses) {
    // A crank that rings 4 % beside a hypothesis, twice as strongly at the sensor's end as expected, and with 2 % of damping: a dozen misfires
    // are enough to know it, at a place that none of them was seen at, too.
    constexpr double kFast_rpm = 6000.0;
    Bank parts(engine_of({1, 3, 4, 2}), SensorAt::front, kFast_rpm);
    constexpr int kMode = 5;
    const CombustionWork work(SliderCrank::of(parts.config.engine), 9.0);
    Response mode{};
    lost_combustion(work, parts.grid.bin_deg, -parts.before, parts.size, 0.0,
                    1.04 * parts.bank.mode_hz(kMode) * 60.0 / kFast_rpm, mode.data(), 0.02);
    const auto truth = [&](int k, std::size_t j) {
        return parts.bank.rigid(k)[j] + 2.0F * parts.bank.torsion_gain(k) * mode[j];
    };
    const auto off = [&](int k) {
        double sum = 0.0;
        for (int j = 0; j < parts.size; ++j) {
            const auto at = static_cast<std::size_t>(j);
            sum += std::pow(static_cast<double>(parts.bank.response(k)[at] - truth(k, at)), 2.0);
        }
        return std::sqrt(sum / parts.size);
    };
    parts.bank.expect(gain_of(1 + ResponseBank::kBeforeModes + kMode, 25.0F));
    ASSERT_TRUE(parts.bank.choose(false));
    parts.match();
    ASSERT_EQ(parts.bank.chosen(), 1 + ResponseBank::kBeforeModes + kMode);
    const double before = off(0);
    std::mt19937_64 random(23);
    std::normal_distribution<double> noise(0.0, 0.05);
    for (int n = 0; n < 12; ++n) {
        const int k = 1 + n % 3;
        Response x{};
        for (int j = 0; j < parts.size; ++j)
            x[static_cast<std::size_t>(j)] = truth(k, static_cast<std::size_t>(j)) + static_cast<float>(noise(random));
        parts.bank.refine(k, x, parts.size, 1.0F, parts.covariance);
    }
    parts.match();
    EXPECT_LT(off(0), 0.3 * before);
    // Another kind of response is chosen: what was learned of this one is forgotten, and it is as it was.
    parts.bank.expect(gain_of(0, 60.0F));
    ASSERT_TRUE(parts.bank.choose(false));
    parts.bank.expect(gain_of(1 + ResponseBank::kBeforeModes + kMode, 100.0F));
    ASSERT_TRUE(parts.bank.choose(false));
    parts.match();
    ASSERT_EQ(parts.bank.chosen(), 1 + ResponseBank::kBeforeModes + kMode);
    EXPECT_NEAR(off(0), before, 0.02 * before);
}

TEST(ResponseBank, KnowsACrankAgainstWhichABrakeSwings) {
    // Two equal inertias on a shaft of 15.8 Hz and a tenth of critical damping, integrated in small steps while one combustion is lost.
    constexpr double kHz = 15.8;
    constexpr double kSpeed_rpm = 1500.0;
    Bank parts(engine_of({1, 3, 4, 2}), SensorAt::front, kSpeed_rpm);
    const CombustionWork work(SliderCrank::of(parts.config.engine), kUsualBurn_deg);
    const double rate = 2.0 * std::numbers::pi * kHz;  // of both against each other
    const double stiffness = rate * rate / 2.0;        // over one inertia
    const double damper = 0.1 * rate;
    const double turning = kSpeed_rpm * std::numbers::pi / 30.0;
    constexpr int kParts = 50;
    const double step_s = to_rad(CombustionWork::kStep_deg) / turning / kParts;
    std::vector<double> energy(static_cast<std::size_t>(parts.size + 1), 0.0);
    std::vector<int> samples(energy.size(), 0);
    double crank = 0.0;  // speed lost, over what the lost work makes alone
    double brake = 0.0;
    double twist = 0.0;
    const double from_deg = -parts.before * parts.grid.bin_deg;
    for (int i = 0;; ++i) {
        for (int part = 0; part < kParts; ++part) {
            const double pull = stiffness * twist + damper * (crank - brake);
            crank += work.pulse(i) / kParts - pull * step_s;
            brake += pull * step_s;
            twist += (crank - brake) * step_s;
        }
        const double deg = CombustionWork::kFirst_deg + (i + 0.5) * CombustionWork::kStep_deg - from_deg;
        const auto bin = static_cast<int>(std::floor(deg / parts.grid.bin_deg));
        if (bin > parts.size) break;
        if (bin < 0) continue;
        ++samples[static_cast<std::size_t>(bin)];
        energy[static_cast<std::size_t>(bin)] += crank;
    }
    Window truth{};
    double all = 0.0;
    double off_rigid = 0.0;
    for (std::size_t j = 0; j < static_cast<std::size_t>(parts.size); ++j) {
        truth[j] = static_cast<float>(energy[j] / samples[j] - energy[j + 1] / samples[j + 1]);
        all += std::pow(static_cast<double>(truth[j]), 2.0);
        off_rigid += std::pow(static_cast<double>(truth[j] - parts.bank.rigid(0)[j]), 2.0);
    }
    // The one that is listed there is chosen after some misfires, and is what the two masses do.
    for (int n = 0; n < 12; ++n) {
        Window x = truth;
        parts.add_noise(x, 0.01);
        parts.bank.weigh(n % 4, x, parts.covariance);
    }
    ASSERT_TRUE(parts.bank.choose(false));
    EXPECT_TRUE(ResponseKinds::is_sprung(parts.bank.chosen()));
    parts.match();
    double off = 0.0;
    for (std::size_t j = 0; j < static_cast<std::size_t>(parts.size); ++j)
        off += std::pow(static_cast<double>(truth[j] - parts.bank.response(0)[j]), 2.0);
    EXPECT_LT(off, 0.01 * all);
    EXPECT_GT(off_rigid, 0.05 * all);
}

TEST(ResponseBank, StaysRigidWhereTheCrankIs) {
    Bank parts(engine_of({1, 3, 4, 2}), SensorAt::front, 2500.0);
    for (int n = 0; n < 60; ++n) {
        Window x = with_torsion(parts, 10.0, 0.0);
        parts.add_noise(x, 0.05);
        parts.bank.weigh(n % 4, x, parts.covariance);
        EXPECT_FALSE(parts.bank.choose(false));
    }
    EXPECT_EQ(parts.bank.chosen(), 0);
}

TEST(ResponseBank, HealthyWindowsChooseNothing) {
    Bank parts(engine_of({1, 3, 4, 2}), SensorAt::front, 2500.0);
    for (int n = 0; n < 2000; ++n) {
        Window x{};
        parts.add_noise(x, 0.05);
        parts.bank.weigh(n % 4, x, parts.covariance);
        EXPECT_FALSE(parts.bank.choose(false));
    }
    Window x{};
    parts.add_noise(x, 0.05);
    EXPECT_LT(parts.bank.best_gain(0, x), 0.0F);
    EXPECT_GT(parts.bank.best_gain(0, parts.window_of(0)), 10.0F);
}

}  // namespace
}  // namespace kurbel::test
