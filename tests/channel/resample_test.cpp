// Values between samples, and clocks that differ by an offset and a drift.
#include "kurbel/channel/resample.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "kurbel/simulate/random.hpp"

namespace kurbel::channel {
namespace {

TEST(ValueAt, HoldsOrJoinsByALine) {
    const Series series{{0.0, 1.0, 1.0, 2.0}, {10.0, 20.0, 30.0, 50.0}};
    EXPECT_TRUE(std::isnan(value_at(series, -0.1, Between::hold)));
    EXPECT_EQ(value_at(series, 0.5, Between::hold), 10.0);
    EXPECT_EQ(value_at(series, 0.5, Between::linear), 15.0);
    EXPECT_EQ(value_at(series, 1.0, Between::hold), 30.0);  // of equal times the later sample
    EXPECT_EQ(value_at(series, 1.25, Between::linear), 35.0);
    EXPECT_EQ(value_at(series, 3.0, Between::hold), 50.0);
    EXPECT_TRUE(std::isnan(value_at(series, 3.0, Between::linear)));
    EXPECT_EQ(value_at(series, 2.0, Between::linear), 50.0);
    EXPECT_EQ(resampled(series, {0.5, 1.25}, Between::linear), (std::vector<double>{15.0, 35.0}));
}

TEST(FitEvents, FindsOffsetAndDriftPastFalsePairs) {
    simulate::Random random(7, 1);
    std::vector<double> reference;
    std::vector<double> other;
    for (int i = 0; i < 60; ++i) {
        other.push_back(5.0 * i);
        reference.push_back(3.2 + (1.0 + 40e-6) * 5.0 * i + 1e-4 * random.normal() + (i % 9 == 4 ? 0.5 : 0.0));
    }
    const ClockFit fit = fit_events(reference, other);
    ASSERT_TRUE(fit.known());
    EXPECT_NEAR(fit.drift, 40e-6, 1e-6);
    EXPECT_NEAR(fit.to_reference_s(150.0), 3.2 + (1.0 + 40e-6) * 150.0, 1e-4);
    EXPECT_NEAR(fit.agreement, 53.0 / 60.0, 0.03);
    EXPECT_FALSE(fit_events({1.0, 2.0}, {1.0, 2.0}).known());
}

Series speeds(double offset_s, double drift, double every_s, double noise, std::uint64_t seed) {
    simulate::Random random(seed, 2);
    Series series;
    for (double t = 0.0; t < 120.0; t += every_s) {
        const double real = offset_s + (1.0 + drift) * t;  // the moment on the reference's clock
        series.time_s.push_back(t);
        series.value.push_back(2000.0 + 500.0 * std::sin(0.31 * real) + 300.0 * std::sin(1.7 * real + 1.0) +
                               200.0 * std::sin(0.053 * real * real / 10.0) + noise * random.normal());
    }
    return series;
}

TEST(FitSpeeds, FindsOffsetAndDrift) {
    const Series reference = speeds(0.0, 0.0, 0.02, 5.0, 1);
    for (const double offset_s : {-4.3, 0.0, 2.718}) {
        const ClockFit fit = fit_speeds(reference, speeds(offset_s, 6e-4, 0.1, 5.0, 2));
        ASSERT_TRUE(fit.known()) << offset_s;
        EXPECT_NEAR(fit.to_reference_s(60.0), offset_s + 60.0 * (1.0 + 6e-4), 0.01) << offset_s;
        EXPECT_NEAR(fit.drift, 6e-4, 1e-4);
        EXPECT_GT(fit.agreement, 0.95);
    }
}

TEST(FitSpeeds, SaysNothingWhereNothingShows) {
    const Series reference = speeds(0.0, 0.0, 0.02, 5.0, 1);
    Series still = reference;
    for (double& value : still.value) value = 800.0;
    EXPECT_FALSE(fit_speeds(reference, still).known());
    Series noise = reference;
    simulate::Random random(3, 3);
    for (double& value : noise.value) value = random.normal();
    EXPECT_FALSE(fit_speeds(reference, noise).known());
    // A pure tone fits at every period.
    Series tone = reference;
    for (std::size_t i = 0; i < tone.value.size(); ++i) tone.value[i] = std::sin(tone.time_s[i] * 3.0);
    EXPECT_FALSE(fit_speeds(tone, tone).known());
}

}  // namespace
}  // namespace kurbel::channel
