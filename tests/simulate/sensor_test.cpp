// Faults of single teeth, of the cam, of the line and of the capture unit, and a shaft that swings back.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "kurbel/simulate/capture.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

constexpr double kTurn = 2.0 * portable::kPi;
constexpr double kSpeed = 100.0;
constexpr double kDeg = portable::kPi / 180.0;

/// Edges of a wheel whose angle over time is `angle`, from time 0 on, in steps of 30 us.
template <class Angle>
std::vector<SimulatedEdge> turn(WheelSensor& sensor, double seconds, Angle angle) {
    std::vector<SimulatedEdge> edges;
    sensor.start(angle(0.0));
    const double step = 3e-5;
    const double h = 1e-7;
    const auto speed = [&](double t) { return (angle(t + h) - angle(t - h)) / (2.0 * h); };
    for (int i = 0; i < static_cast<int>(seconds / step); ++i) {
        const double t = i * step;
        sensor.step({t, step, angle(t), speed(t), angle(t + step), speed(t + step)}, edges);
    }
    return edges;
}

std::vector<SimulatedEdge> steady(const Scenario& scenario, double seconds) {
    WheelSensor sensor(scenario);
    return turn(sensor, seconds, [](double t) { return kSpeed * t; });
}

long count(const std::vector<SimulatedEdge>& edges, Signal signal, int tooth) {
    return std::count_if(edges.begin(), edges.end(),
                         [&](const SimulatedEdge& e) { return e.signal == signal && e.tooth == tooth; });
}

TEST(ToothFaults, ABentToothPassesLateAndADamagedOneOftenNot) {
    Scenario s = test::inline_four();
    s.tooth_faults = {{12, 0.8, 0.0, 1.0}, {30, 0.0, 0.4, 1.0}};
    const WheelSensor sensor(s);
    for (std::size_t i = 0; i < 58; ++i)
        EXPECT_NEAR(sensor.true_angle_deg()[i], 6.0 * static_cast<double>(i) + (i == 12 ? 0.8 : 0.0), 1e-12);
    const std::vector<SimulatedEdge> edges = steady(s, 60.0);
    const double turns = 60.0 * kSpeed / kTurn;
    EXPECT_NEAR(static_cast<double>(count(edges, Signal::crank, 30)) / turns, 0.6, 0.05);
    EXPECT_NEAR(static_cast<double>(count(edges, Signal::crank, 12)) / turns, 1.0, 0.002);
}

TEST(ToothFaults, PlacesOfAWheelWithAGapInItsMiddleAreCountedWithTheGap) {
    Scenario s = test::inline_four();
    const int absent[] = {10, 11};
    ASSERT_TRUE(make_even_wheel(60, absent, 2, s.crank_wheel));
    s.tooth_faults = {{12, 0.5, 0.0, 1.0}};
    EXPECT_NEAR(WheelSensor(s).true_angle_deg()[10], 72.5, 1e-12);
}

TEST(ToothFaults, TheOthersDrawTheSame) {
    Scenario s = test::inline_four();
    s.wheel_error.jitter_deg = 0.02;
    const std::vector<SimulatedEdge> plain = steady(s, 1.0);
    s.tooth_faults = {{12, 0.8, 0.5, 1.0}};
    s.wheel_error.chatter = 0.1;
    const std::vector<SimulatedEdge> faulty = steady(s, 1.0);
    std::size_t compared = 0;
    for (const SimulatedEdge& edge : plain) {
        if (edge.tooth == 12) continue;
        compared +=
            static_cast<std::size_t>(std::count_if(faulty.begin(), faulty.end(), [&](const SimulatedEdge& other) {
                return other.time_s == edge.time_s && other.tooth == edge.tooth;
            }));
    }
    EXPECT_EQ(static_cast<long>(compared), static_cast<long>(plain.size()) - count(plain, Signal::crank, 12));
}

TEST(Chatter, FollowsTheShareAskedForWithinItsTime) {
    Scenario s = test::inline_four();
    s.wheel_error.chatter = 0.1;
    s.wheel_error.chatter_s = 40e-6;
    const std::vector<SimulatedEdge> edges = steady(s, 60.0);
    double tooth_s = -1.0;
    long extra = 0;
    for (const SimulatedEdge& edge : edges) {
        if (edge.signal != Signal::crank) continue;
        if (edge.tooth >= 0) tooth_s = edge.time_s;
        if (edge.tooth >= 0) continue;
        ++extra;
        EXPECT_LE(edge.time_s - tooth_s, 40e-6);
        EXPECT_GE(edge.time_s, tooth_s);
    }
    // One to three more edges, two on average.
    EXPECT_NEAR(static_cast<double>(extra), 0.1 * 2.0 * 58.0 * 60.0 * kSpeed / kTurn, 400.0);
}

// The sensor sees a tooth from a to a + w (half a pitch here). Turning back it meets a + w first; the flank at a is no edge of the same
// kind. Forward again, a shows again.
TEST(SwingingBack, EachToothIsMetFromBehind) {
    Scenario s = test::inline_four();
    s.cam_wheel.edges = 0;
    WheelSensor sensor(s);
    // From 20 degrees after place 0 back by 10 degrees and forward again; place 0 stands at -84.
    const auto angle = [](double t) { return (-84.0 + 20.0 - 10.0 * std::sin(10.0 * t)) * kDeg; };
    const std::vector<SimulatedEdge> edges = turn(sensor, kTurn / 20.0, angle);
    const double behind_deg[] = {15.0, 12.0, 18.0};  // teeth 2 (to 15) back; then 2 and 3 forward
    const int tooth[] = {2, 2, 3};
    ASSERT_EQ(edges.size(), 3U);
    for (std::size_t i = 0; i < 3; ++i) {
        EXPECT_EQ(edges[i].tooth, tooth[i]);
        EXPECT_NEAR(angle(edges[i].time_s) / kDeg + 84.0, behind_deg[i], 1e-3);
    }
}

TEST(SwingingBack, WithACoilTheZeroCrossingIsMetBothWays) {
    Scenario s = test::inline_four();
    s.cam_wheel.edges = 0;
    s.sensor.kind = SensorKind::inductive;
    s.sensor.arm_v = 0.0;
    WheelSensor sensor(s);
    const auto angle = [](double t) { return (-84.0 + 220.0 - 10.0 * std::sin(10.0 * t)) * kDeg; };
    const std::vector<SimulatedEdge> edges = turn(sensor, kTurn / 20.0, angle);
    ASSERT_EQ(edges.size(), 2U);  // tooth 36 at 216 back and forth; 210 is only touched where the shaft turns
    EXPECT_EQ(edges[0].tooth, 36);
    EXPECT_EQ(edges[1].tooth, 36);
}

TEST(Cam, APhaserTurnsItLate) {
    Scenario s = test::inline_four();
    s.cam_error.late_deg = Profile({{0.0, 0.0}, {10.0, 30.0}});
    for (const SimulatedEdge& edge : steady(s, 20.0)) {
        if (edge.signal != Signal::cam) continue;
        const double deg = std::remainder(edge.time_s * kSpeed / kDeg - 50.0, 720.0);
        EXPECT_NEAR(deg, std::min(3.0 * edge.time_s, 30.0), 2e-4);
    }
}

TEST(Cam, APhaserThatTurnsBackLosesNoEdge) {
    Scenario s = test::inline_four();
    s.cam_error.late_deg = Profile({{0.0, 60.0}, {1.0, 60.0}, {1.0, 0.0}});
    const std::vector<SimulatedEdge> edges = steady(s, 2.0);
    EXPECT_NEAR(static_cast<double>(count(edges, Signal::cam, 0)), 2.0 * kSpeed / (2.0 * kTurn), 1.0);
}

TEST(Cam, EdgesGoMissing) {
    Scenario s = test::inline_four();
    s.cam_error.missed = 0.3;
    const double cycles = 60.0 * kSpeed / (2.0 * kTurn);
    EXPECT_NEAR(static_cast<double>(count(steady(s, 60.0), Signal::cam, 0)) / cycles, 0.7, 0.07);
}

TEST(Line, GlitchesComeInBurstsAtTheirRateAndDropoutsSilenceOneSignal) {
    Scenario s = test::inline_four();
    s.seconds = 60.0;
    s.glitches = {{Signal::crank, 10.0, 50.0, 3.0, 4, 20e-6}};
    s.dropouts = {{Signal::cam, 5.0, 20.0}};
    std::vector<SimulatedEdge> edges = steady(s, s.seconds);
    disturb(s, edges);
    std::vector<double> glitch;
    for (const SimulatedEdge& edge : edges) {
        if (edge.tooth < 0) glitch.push_back(edge.time_s);
        if (edge.signal == Signal::cam) {
            EXPECT_FALSE(edge.time_s >= 5.0 && edge.time_s < 20.0);
        }
    }
    ASSERT_EQ(glitch.size() % 4, 0U);
    EXPECT_NEAR(static_cast<double>(glitch.size()) / 4.0, 120.0, 40.0);  // Poisson: sd 11
    for (std::size_t i = 0; i < glitch.size(); i += 4) {
        EXPECT_GE(glitch[i], 10.0);
        EXPECT_LT(glitch[i], 50.0);
        EXPECT_NEAR(glitch[i + 3] - glitch[i], 60e-6, 1e-12);
    }
}

TEST(Line, GlitchesWithoutEndAreRefused) {
    Scenario s = test::inline_four();
    s.seconds = 86400.0;
    s.glitches = {{Signal::crank, 0.0, 1e9, 1000.0, 100, 1e-6}};
    EXPECT_FALSE(validate(s).ok());
    s.seconds = 10.0;
    EXPECT_TRUE(validate(s).ok());
}

TEST(CaptureUnit, PrescalerStartAndLatency) {
    Scenario s = test::inline_four();
    s.timer = {1e6, 16};
    s.capture = {8, 63000.0, 20e-6};
    std::vector<SimulatedEdge> edges = steady(s, 1.0);
    const std::vector<SimulatedEdge> before = edges;
    disturb(s, edges);
    double late = 0.0;
    for (std::size_t i = 0; i < edges.size(); ++i) {
        EXPECT_GE(edges[i].time_s, before[i].time_s);
        EXPECT_LT(edges[i].time_s, before[i].time_s + 20e-6);
        late += edges[i].time_s - before[i].time_s;
    }
    EXPECT_NEAR(late / static_cast<double>(edges.size()), 10e-6, 1e-6);
    const CapturedEdges captured = capture(edges, s.timer, s.capture);
    std::int64_t clock = captured.tick[0];
    for (std::size_t i = 0; i < edges.size(); ++i) {
        if (i > 0) clock += (captured.tick[i] - captured.tick[i - 1] + 65536) % 65536;
        // On the recording's clock the edge stands where it was in simulated time, to the prescaler's step.
        const double told_s = static_cast<double>(clock) / 1e6 + captured.clock_shift_s;
        EXPECT_GE(edges[i].time_s, told_s - 1e-9);
        EXPECT_LT(edges[i].time_s, told_s + 8e-6 + 1e-9);
        EXPECT_EQ((captured.tick[i] + 65536 - 63000) % 8, 0);
    }
    EXPECT_GT(captured.tick[0], 63000);
    EXPECT_LT(*std::min_element(captured.tick.begin(), captured.tick.begin() + 20), 10000);  // wraps at once
}

// What is told wrongly changes the description alone: the edges are the same.
TEST(Told, TheRecordingSaysOtherwise) {
    Scenario s = test::inline_four();
    s.seconds = 1.0;
    const read::Recording honest = simulate(s);
    s.told = {1.2, -100.0, 700.0 - 720.0 - 100.0, true, false};
    const read::Recording other = simulate(s);
    EXPECT_TRUE(honest.tick == other.tick);
    EXPECT_NEAR(other.config.engine.inertia_kg_m2, 1.2 * 0.16, 1e-15);
    EXPECT_NEAR(other.config.crank_wheel.tdc1_deg, 344.0, 1e-12);
    EXPECT_NEAR(other.config.cam_wheel.edge_deg[0], 650.0, 1e-12);
    const auto has_load = [](const read::Recording& r) {
        return std::any_of(r.channels.begin(), r.channels.end(),
                           [](const read::ChannelRow& c) { return c.channel == Channel::load; });
    };
    EXPECT_TRUE(has_load(honest));
    EXPECT_FALSE(has_load(other));
    s.told = {};
    s.told.geometry = false;
    EXPECT_TRUE(std::isnan(simulate(s).config.engine.bore_mm));
    EXPECT_EQ(honest.config.crank_wheel.tdc1_deg, 84.0);
}

}  // namespace
}  // namespace kurbel::simulate
