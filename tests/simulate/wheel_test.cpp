#include "kurbel/simulate/capture.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
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

std::vector<SimulatedEdge> crank_edges(const Scenario& scenario, double seconds) {
    std::vector<SimulatedEdge> edges = turn(scenario, seconds);
    std::erase_if(edges, [](const SimulatedEdge& edge) { return edge.signal != Signal::crank; });
    return edges;
}

/// How far crank angle `deg` lies from where a tooth of test::inline_four() belongs: place 0 passes 84 degrees before cylinder
/// 1's TDC, which is at angle 0.
double off_place_deg(double deg, int tooth) { return std::remainder(deg + 84.0 - tooth * 6.0, 360.0); }

double turned_deg(double rad) { return rad / kTurn * 360.0; }

/// Mean and largest of how far the teeth of a wheel really stand from their even places.
struct Displaced {
    double mean_deg = 0.0;
    double rms_deg = 0.0;
    double highest_deg = 0.0;
};

Displaced displaced(const Scenario& scenario) {
    const WheelSensor sensor(scenario);
    Displaced result;
    for (std::size_t i = 0; i < 58; ++i) {
        const double error = sensor.true_angle_deg()[i] - 6.0 * static_cast<double>(i);
        result.mean_deg += error / 58.0;
        result.rms_deg += error * error / 58.0;
        result.highest_deg = std::max(result.highest_deg, std::fabs(error));
    }
    result.rms_deg = std::sqrt(result.rms_deg);
    return result;
}

TEST(WheelSensor, ToothTimesAtConstantSpeedAreExact) {
    const Scenario s = test::inline_four();
    const std::vector<SimulatedEdge> edges = turn(s, 2.0);
    int cam = 0;
    for (const SimulatedEdge& edge : edges) {
        const double deg = turned_deg(edge.time_s * kSpeed);
        if (edge.signal == Signal::cam) {
            EXPECT_NEAR(std::remainder(deg - 50.0, 720.0), 0.0, 1e-8);
            ++cam;
        } else {
            EXPECT_NEAR(off_place_deg(deg, edge.tooth), 0.0, 1e-8);
        }
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
        EXPECT_NEAR(off_place_deg(turned_deg(angle(edge.time_s)), edge.tooth), 0.0, 1e-8);
    }
}

TEST(WheelSensor, ErrorsHaveTheirSize) {
    Scenario s = test::inline_four();
    s.wheel_error.pitch_deg = 0.1;
    EXPECT_NEAR(displaced(s).rms_deg, 0.1, 0.03);

    s.wheel_error = {};
    s.wheel_error.run_out_deg = 0.2;
    EXPECT_NEAR(displaced(s).highest_deg, 0.2, 0.002);
    EXPECT_NEAR(displaced(s).mean_deg, 0.0, 0.02);

    s.wheel_error = {};
    s.wheel_error.jitter_deg = 0.02;
    const std::vector<SimulatedEdge> edges = crank_edges(s, 10.0);
    double square = 0.0;
    for (const SimulatedEdge& edge : edges) {
        const double error = off_place_deg(turned_deg(edge.time_s * kSpeed), edge.tooth);
        square += error * error;
    }
    EXPECT_NEAR(std::sqrt(square / static_cast<double>(edges.size())), 0.02, 0.001);
}

TEST(WheelSensor, LosesAndDoublesTheSharesAskedFor) {
    Scenario s = test::inline_four();
    s.wheel_error.missed = 0.02;
    s.wheel_error.extra = 0.01;
    const std::vector<SimulatedEdge> edges = crank_edges(s, 60.0);
    const auto extra = std::count_if(edges.begin(), edges.end(), [](const SimulatedEdge& e) { return e.tooth < 0; });
    const double expected = 58.0 * 60.0 * kSpeed / kTurn;
    EXPECT_NEAR((static_cast<double>(edges.size()) - static_cast<double>(extra)) / expected, 0.98, 0.003);
    EXPECT_NEAR(static_cast<double>(extra) / expected, 0.01, 0.002);
}

TEST(WheelSensor, WeakToothVanishesForWholeRevolutions) {
    Scenario s = test::inline_four();
    s.wheel_error.weak_tooth = 0.25;
    s.wheel_error.gap_shift_pitch = 0.2;
    std::array<int, 58> seen{};
    for (const SimulatedEdge& edge : crank_edges(s, 60.0)) ++seen.at(static_cast<std::size_t>(edge.tooth));
    EXPECT_NEAR(static_cast<double>(seen[0]) / seen[1], 0.75, 0.05);
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
