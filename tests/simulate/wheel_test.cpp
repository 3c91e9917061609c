#include "kurbel/simulate/wheel.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

constexpr double kTurn = 2.0 * portable::kPi;
constexpr double kSpeed = 100.0;

/// Edges of a wheel that turns at constant speed from angle 0, in steps of 30 us.
std::vector<SimulatedEdge> turn(double seconds, WheelSensor& sensor) {
    std::vector<SimulatedEdge> edges;
    sensor.start(0.0);
    const double step = 3e-5;
    const int steps = static_cast<int>(seconds / step);
    for (int i = 0; i < steps; ++i) {
        const double t = i * step;
        sensor.step({t, step, kSpeed * t, kSpeed, kSpeed * (t + step), kSpeed}, edges);
    }
    return edges;
}

std::vector<SimulatedEdge> turn(const Scenario& scenario, double seconds) {
    WheelSensor sensor(scenario);
    return turn(seconds, sensor);
}

TEST(WheelSensor, ToothTimesAtConstantSpeedAreExact) {
    const Scenario s = test::inline_four();
    const std::vector<SimulatedEdge> edges = turn(s, 2.0);
    int cam = 0;
    for (const SimulatedEdge& edge : edges) {
        const double degrees = std::fmod(edge.time_s * kSpeed / kTurn * 360.0, 720.0);
        if (edge.signal == Signal::cam) {
            EXPECT_NEAR(degrees, 50.0, 1e-8);
            ++cam;
            continue;
        }
        // Place 0 passes 84 degrees before cylinder 1's TDC, which is at angle 0.
        const double place = std::fmod(degrees + 84.0, 360.0);
        EXPECT_NEAR(std::remainder(place - edge.tooth * 6.0, 360.0), 0.0, 1e-8);
    }
    EXPECT_EQ(cam, static_cast<int>(std::ceil((2.0 * kSpeed / kTurn - 50.0 / 360.0) / 2.0)));
    EXPECT_NEAR(static_cast<double>(edges.size()) - cam, 58.0 * 2.0 * kSpeed / kTurn, 3.0);
}

TEST(WheelSensor, CrossingFollowsAnAcceleratingShaft) {
    Scenario s = test::inline_four();
    WheelSensor sensor(s);
    std::vector<SimulatedEdge> edges;
    const double acceleration = 5000.0;
    const auto angle = [&](double t) { return 50.0 * t + 0.5 * acceleration * t * t; };
    const auto speed = [&](double t) { return 50.0 + acceleration * t; };
    sensor.start(0.0);
    const double step = 5e-5;
    for (int i = 0; i < 2000; ++i) {
        const double t = i * step;
        sensor.step({t, step, angle(t), speed(t), angle(t + step), speed(t + step)}, edges);
    }
    ASSERT_GT(edges.size(), 100U);
    for (const SimulatedEdge& edge : edges) {
        if (edge.signal != Signal::crank) continue;
        const double place = std::fmod(angle(edge.time_s) / kTurn * 360.0 + 84.0, 360.0);
        EXPECT_NEAR(std::remainder(place - edge.tooth * 6.0, 360.0), 0.0, 1e-8);
    }
}

TEST(WheelSensor, ErrorsHaveTheirSize) {
    Scenario s = test::inline_four();
    s.wheel_error.pitch_deg = 0.1;
    const WheelSensor pitch(s);
    double square = 0.0;
    for (std::size_t i = 0; i < 58; ++i) {
        const double error = pitch.true_angle_deg()[i] - 6.0 * static_cast<double>(i);
        square += error * error;
    }
    EXPECT_NEAR(std::sqrt(square / 58.0), 0.1, 0.03);

    s.wheel_error = {};
    s.wheel_error.run_out_deg = 0.2;
    const WheelSensor eccentric(s);
    double highest = 0.0;
    double sum = 0.0;
    for (std::size_t i = 0; i < 58; ++i) {
        const double error = eccentric.true_angle_deg()[i] - 6.0 * static_cast<double>(i);
        highest = std::max(highest, std::fabs(error));
        sum += error;
    }
    EXPECT_NEAR(highest, 0.2, 0.002);
    EXPECT_NEAR(sum / 58.0, 0.0, 0.02);

    s.wheel_error = {};
    s.wheel_error.jitter_deg = 0.02;
    const std::vector<SimulatedEdge> edges = turn(s, 10.0);
    double jitter = 0.0;
    int n = 0;
    for (const SimulatedEdge& edge : edges) {
        if (edge.signal != Signal::crank) continue;
        const double place = std::fmod(edge.time_s * kSpeed / kTurn * 360.0 + 84.0, 360.0);
        const double error = std::remainder(place - edge.tooth * 6.0, 360.0);
        jitter += error * error;
        ++n;
    }
    EXPECT_NEAR(std::sqrt(jitter / n), 0.02, 0.001);
}

TEST(WheelSensor, LosesAndDoublesTheSharesAskedFor) {
    Scenario s = test::inline_four();
    s.wheel_error.missed = 0.02;
    s.wheel_error.extra = 0.01;
    const std::vector<SimulatedEdge> edges = turn(s, 60.0);
    int extra = 0;
    int teeth = 0;
    for (const SimulatedEdge& edge : edges) {
        if (edge.signal != Signal::crank) continue;
        (edge.tooth < 0 ? extra : teeth) += 1;
    }
    const double expected = 58.0 * 60.0 * kSpeed / kTurn;
    EXPECT_NEAR(teeth / expected, 0.98, 0.003);
    EXPECT_NEAR(extra / expected, 0.01, 0.002);
}

TEST(WheelSensor, WeakToothVanishesForWholeRevolutions) {
    Scenario s = test::inline_four();
    s.wheel_error.weak_tooth = 0.25;
    s.wheel_error.gap_shift_pitch = 0.2;
    const std::vector<SimulatedEdge> edges = turn(s, 60.0);
    int first = 0;
    int second = 0;
    for (const SimulatedEdge& edge : edges) {
        if (edge.signal != Signal::crank) continue;
        first += edge.tooth == 0 ? 1 : 0;
        second += edge.tooth == 1 ? 1 : 0;
    }
    EXPECT_NEAR(static_cast<double>(first) / second, 0.75, 0.05);
    EXPECT_NEAR(WheelSensor(s).true_angle_deg()[0], 0.2 * 6.0, 1e-12);
}

TEST(Capture, WrapsTheCounterAndKeepsTheFirstTickAsTheClock) {
    TimerConfig timer;
    timer.hz = 1e6;
    timer.bits = 16;
    std::vector<SimulatedEdge> edges{{0.200, Signal::crank, 0}, {0.150, Signal::cam, 0}, {0.230, Signal::crank, 1}};
    const CapturedEdges captured = capture(edges, timer);
    ASSERT_EQ(captured.tick.size(), 3U);
    EXPECT_EQ(captured.signal[0], static_cast<std::uint8_t>(Signal::cam));
    EXPECT_EQ(captured.tick[0], 150000 - 2 * 65536);
    EXPECT_EQ(captured.tick[1], 200000 - 3 * 65536);
    EXPECT_NEAR(captured.clock_shift_s, 2.0 * 65536e-6, 1e-12);
}

}  // namespace
}  // namespace kurbel::simulate
