// The published classic against its own formula and a worked example. Formula: Plapp, Klenk, Moser, SAE 900232, 1990 (from memory):
// LU = (T_n - T_{n-1})/T_n^3 - (T_{n+z} - T_{n-z})/(2 z T_n^3), T_n the period of firing n's own segment.
#include "kurbel/stage/segment_roughness.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "stage/wheel_edges.hpp"
#include "support/even_engine.hpp"

namespace kurbel::test {
namespace {

constexpr double kHz = 1e9;
constexpr double kPi = std::numbers::pi;

struct Stage {
    Config config = car(even_wheel(60, {58, 59}));
    CycleGrid grid;
    SegmentRoughness<double> roughness;
    std::vector<FiringWork<double>> firings;
    std::int64_t bin = 0;
    std::int64_t tick = 1000;

    explicit Stage(const EngineConfig& engine = even_engine(4)) {
        config.engine = engine;
        grid = make_cycle_grid(config.engine, config.crank_wheel);
        roughness.configure(config, grid);
    }

    /// One segment from TDC to TDC that lasts `seconds`, as evenly long bins.
    void segment(double seconds, bool restart = false, std::uint32_t cut = 0) {
        const int bins = grid.bins / grid.firings;
        for (int i = 0; i < bins; ++i) {
            Bin<double> part;
            part.index = bin++;
            part.begin_tick = tick + std::llround(i * seconds * kHz / bins);
            part.ticks = seconds * kHz / bins;
            part.restart = restart && i == 0;
            part.phase_known = true;
            roughness.push(part, 0.4, cut, true);
            take(false);
        }
        tick += std::llround(seconds * kHz);
    }

    void take(bool all) {
        FiringWork<double> firing;
        while (roughness.take(firing, all)) {
            firings.push_back(firing);
            roughness.learn();
        }
    }
};

std::vector<FiringWork<double>> judged(const std::vector<double>& periods_s,
                                       const EngineConfig& engine = even_engine(4)) {
    Stage stage(engine);
    for (const double period_s : periods_s) stage.segment(period_s);
    stage.segment(periods_s.back());
    stage.take(true);
    return stage.firings;
}

/// LU of segment n by the formula, 1/s^2.
double formula(const std::vector<double>& t, std::size_t n, std::size_t z) {
    const double trend = (t[n + z] - t[n - z]) / (2.0 * static_cast<double>(z));
    return (t[n] - t[n - 1] - trend) / std::pow(t[n], 3);
}

TEST(SegmentRoughness, WorkedExample) {
    // Computed from the equation of motion: J = 0.15 kg m^2, 800 rpm, 100 J lost over 180 degrees at constant torque. Segment
    // periods 37.500, 39.473, 41.666 ms; acceleration -212.2 rad/s^2; LU = 32.09 and then 30.31 1/s^2. The speed comes back
    // within a cycle, so that the dynamic term is zero for both.
    const double speed = 800.0 * kPi / 30.0;
    const double acceleration = -100.0 / (0.15 * kPi);
    const double after = std::sqrt(speed * speed + 2.0 * acceleration * kPi);
    const double before_s = kPi / speed;
    const double during_s = (after - speed) / acceleration;
    const double after_s = kPi / after;
    EXPECT_NEAR(acceleration, -212.2, 0.05);
    EXPECT_NEAR(during_s, 39.473e-3, 1e-6);
    EXPECT_NEAR(after_s, 41.666e-3, 1e-6);
    std::vector<double> periods_s(20, before_s);
    periods_s[9] = during_s;
    periods_s[10] = after_s;
    periods_s[11] = after_s;
    const auto firings = judged(periods_s);
    ASSERT_EQ(firings.size(), 20U);
    ASSERT_TRUE(firings[9].complete && firings[10].complete);
    // Half of the loss shows in each of two differences, so twice the difference is given; both, halved, make nearly the whole.
    const auto roughness = [&](std::size_t n) { return -firings[n].acceleration / (2.0 * kPi); };
    EXPECT_NEAR(roughness(9), 32.09, 0.006);
    EXPECT_NEAR(roughness(10), 30.31, 0.006);
    EXPECT_NEAR(0.15 * kPi * (roughness(9) + roughness(10)), 29.4, 0.05);  // of 31.8 N m
    EXPECT_NEAR(firings[9].acceleration, -201.6, 0.05);
    EXPECT_NEAR(0.15 * firings[9].lost * firings[9].expected, 95.0, 0.05);  // of 100 J
    // The step is the misfiring cylinder's own: nobody before it is blamed.
    for (std::size_t n = 5; n < 9; ++n) EXPECT_LT(firings[n].lost, 1e-3) << n;
    EXPECT_EQ(firings[9].place, 1);
}

TEST(SegmentRoughness, FollowsTheFormulaAtEveryFiring) {
    for (const int cylinders : {1, 3, 4, 5, 6, 8, 12, 16}) {
        std::vector<double> periods_s;
        for (int i = 0; i < 80; ++i) periods_s.push_back(0.03 + 0.002 * std::sin(1.7 * i) + 0.0001 * i);
        const EngineConfig engine = even_engine(cylinders);
        const auto firings = judged(periods_s, engine);
        const auto z = static_cast<std::size_t>(cylinders);
        const double angle_rad = 4.0 * kPi / cylinders;
        ASSERT_EQ(firings.size(), 80U);
        for (std::size_t n = 0; n < periods_s.size(); ++n) {
            ASSERT_EQ(firings[n].complete, n >= z && n + z < periods_s.size())
                << cylinders << " cylinders, firing " << n;
            EXPECT_EQ(firings[n].place, static_cast<int>(n % z));
            EXPECT_NEAR(firings[n].speed_rpm, 120.0 / (periods_s[n] * cylinders), 1e-3);
            if (!firings[n].complete) continue;
            const double wanted = -2.0 * angle_rad * formula(periods_s, n, z);
            EXPECT_NEAR(firings[n].acceleration, wanted, 1e-4 * angle_rad / 0.03 + 1e-6 * std::fabs(wanted));
            EXPECT_NEAR(firings[n].lost * firings[n].expected, -angle_rad * firings[n].acceleration, 1e-9);
        }
    }
}

TEST(SegmentRoughness, ATwoStrokeFiresTwiceAsOften) {
    std::vector<double> periods_s(12, 0.02);
    periods_s[6] = 0.021;
    const auto firings = judged(periods_s, even_engine(2, 2));
    EXPECT_NEAR(firings[6].acceleration, -2.0 * kPi * formula(periods_s, 6, 2), 1e-3);
    EXPECT_NEAR(firings[5].speed_rpm, 60.0 / 0.04, 1e-6);
}

TEST(SegmentRoughness, SteadySpeedIsZeroAndASteadyRampNearlySo) {
    for (const auto& firing : judged(std::vector<double>(20, 0.03))) EXPECT_EQ(firing.lost, 0.0);
    // Periods that grow evenly are what the dynamic term takes out, wholly.
    std::vector<double> periods_s;
    for (int i = 0; i < 30; ++i) periods_s.push_back(0.03 + 0.0003 * i);
    const auto firings = judged(periods_s);
    for (std::size_t n = 4; n + 4 < periods_s.size(); ++n) {
        const double bare = 0.0003 / std::pow(periods_s[n], 3);
        EXPECT_LT(std::fabs(firings[n].acceleration), 1e-3 * bare) << n;
    }
}

TEST(SegmentRoughness, ComesOutWithItsOwnTdcOneCycleLater) {
    Stage stage;
    std::vector<std::int64_t> tdc;
    for (int i = 0; i < 12; ++i) {
        tdc.push_back(stage.tick);
        stage.segment(0.03 + 0.001 * (i % 3), false, i == 7 ? 1U << 3 : 0U);
        // A segment is whole when the next one begins; z of them must follow.
        EXPECT_EQ(stage.firings.size(), static_cast<std::size_t>(std::max(0, i - 4)));
    }
    stage.take(true);
    ASSERT_EQ(stage.firings.size(), 11U) << "the last segment never ended";
    for (std::size_t n = 0; n < stage.firings.size(); ++n) {
        EXPECT_EQ(stage.firings[n].tdc_tick, tdc[n]);
        EXPECT_EQ(stage.firings[n].bin, static_cast<std::int64_t>(8 * n));
        EXPECT_EQ(stage.firings[n].load, 0.4);
        EXPECT_EQ(stage.firings[n].cut, n == 7);
        EXPECT_TRUE(stage.firings[n].phase_known);
    }
}

TEST(SegmentRoughness, NothingIsComparedAcrossALoss) {
    Stage stage;
    for (int i = 0; i < 12; ++i) stage.segment(0.03);
    stage.bin += 3 * 8;
    stage.tick += 700'000'000;
    const std::size_t before = stage.firings.size();
    EXPECT_EQ(before, 7U);
    stage.segment(0.05, true);
    ASSERT_EQ(stage.firings.size(), 11U) << "those that waited come out as they are; the last segment never ended";
    for (int i = 0; i < 12; ++i) stage.segment(0.05);
    stage.take(true);
    ASSERT_EQ(stage.firings.size(), 11U + 12U);
    for (std::size_t n = before; n < stage.firings.size(); ++n) {
        EXPECT_NEAR(stage.firings[n].speed_rpm, n < 11 ? 1000.0 : 600.0, 1e-6);
        EXPECT_EQ(stage.firings[n].lost, 0.0);
        EXPECT_EQ(stage.firings[n].complete, n >= 11 + 4 && n < 11 + 8) << n;
    }
}

TEST(SegmentRoughness, ExpectedWorkFollowsTheLoad) {
    Stage stage;
    EngineConfig& engine = stage.config.engine;
    engine.bore_mm = engine.stroke_mm = 86.0;
    engine.inertia_kg_m2 = 0.15;
    stage.roughness.configure(stage.config, stage.grid);
    for (int i = 0; i < 12; ++i) stage.segment(0.03);
    // 11 bar over half a litre at full charge, 0.31 of it useful at a load of 0.4: 170 J.
    EXPECT_NEAR(0.15 * stage.firings[2].expected, 11e5 * 499.557e-6 * 0.31, 0.01);
}

}  // namespace
}  // namespace kurbel::test
