#include "kurbel/simulate/inductive_sensor.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "kurbel/simulate/wheel.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

constexpr double kTurn = 2.0 * portable::kPi;
constexpr double kRpm = portable::kPi / 30.0;

Scenario coil() {
    Scenario s = test::inline_four();
    s.cam_wheel.edges = 0;
    s.sensor.kind = SensorKind::inductive;
    return s;
}

std::vector<SimulatedEdge> turn(const Scenario& scenario, double speed_rpm, double seconds) {
    WheelSensor sensor(scenario);
    std::vector<SimulatedEdge> edges;
    sensor.start(0.0);
    const double step = 3e-5;
    const double speed = speed_rpm * kRpm;
    for (int i = 0; i < static_cast<int>(seconds / step); ++i)
        sensor.step({i * step, step, speed * i * step, speed, speed * (i + 1) * step, speed}, edges);
    return edges;
}

long of_tooth(const std::vector<SimulatedEdge>& edges, int tooth) {
    return std::count_if(edges.begin(), edges.end(), [&](const SimulatedEdge& e) { return e.tooth == tooth; });
}

/// Width of the gap of 60-2 in pitches, 3 for a perfect sensor.
double gap_pitches(const Scenario& s) {
    const WheelSensor sensor(s);
    return (sensor.true_angle_deg().front() + 360.0 - sensor.true_angle_deg().back()) / 6.0;
}

TEST(Coil, VoltageRisesWithSpeedAndHasItsPeakAt1000Rpm) {
    const Scenario s = coil();
    const WheelSensor sensor(s);
    double peak = 0.0;
    for (int i = 0; i < 600; ++i) peak = std::max(peak, sensor.volts(kTurn * (0.5 + i / 36000.0), 1000.0 * kRpm, 0.0));
    EXPECT_NEAR(peak, 3.0, 0.01);
    EXPECT_NEAR(sensor.volts(3.01, 500.0 * kRpm, 0.0), 0.5 * sensor.volts(3.01, 1000.0 * kRpm, 0.0), 1e-12);
    EXPECT_NEAR(sensor.volts(3.01 + 40.0 * kTurn, 500.0 * kRpm, 0.0), sensor.volts(3.01, 500.0 * kRpm, 0.0), 1e-9);
}

// The comparator needs 0.2 V; an ordinary tooth gives 3 V at 1000 rpm, so it arms from 67 rpm on.
TEST(Coil, TeethAreLostBelowTheSpeedThatArms) {
    const Scenario s = coil();
    EXPECT_EQ(of_tooth(turn(s, 60.0, 4.0), 29), 0);
    EXPECT_EQ(of_tooth(turn(s, 72.0, 4.0), 29), 5);
    // The first tooth after the gap lacks a neighbour that would flatten its half-wave, and shows earlier.
    EXPECT_GT(of_tooth(turn(s, 60.0, 4.0), 0), 0);
}

TEST(Coil, TheGapLooksWiderThanItIs) {
    Scenario s = coil();
    EXPECT_GT(gap_pitches(s), 3.05);
    const double near = gap_pitches(s);
    s.sensor.gap_mm = 2.0;
    const double far = gap_pitches(s);
    EXPECT_GT(far, near);
    EXPECT_LT(far, 4.3);
    // Far from the gap the teeth stand where they are.
    EXPECT_NEAR(WheelSensor(s).true_angle_deg()[29], 174.0, 0.02);
}

TEST(Coil, AWeakToothByTheGapIsPulledAlongAndLostWhereTheThresholdFollowsThePeaks) {
    Scenario s = coil();
    s.sensor.first_tooth_height = 0.6;
    EXPECT_GT(gap_pitches(s), gap_pitches(coil()));
    EXPECT_GT(of_tooth(turn(s, 2000.0, 2.0), 0), 60);
    s.sensor.first_tooth_height = 0.2;
    s.sensor.arm_share = 0.6;
    EXPECT_EQ(of_tooth(turn(s, 2000.0, 2.0), 0), 0);
    EXPECT_GT(of_tooth(turn(s, 2000.0, 2.0), 20), 60);
}

// Yet farther away the first tooth drowns in its neighbour's flux: the gap then measures more than four pitches.
TEST(Coil, ADrownedToothWidensTheGapByAPitch) {
    Scenario s = coil();
    s.sensor.radius_mm = 72.0;
    s.sensor.spread_mm = 3.0;
    s.sensor.first_tooth_height = 0.6;
    const std::vector<SimulatedEdge> edges = turn(s, 2000.0, 1.0);
    EXPECT_EQ(of_tooth(edges, 0), 0);
    double widest = 0.0;
    for (std::size_t i = 1; i < edges.size(); ++i) widest = std::max(widest, edges[i].time_s - edges[i - 1].time_s);
    const double pitches = widest * 2000.0 / 60.0 * 60.0;
    EXPECT_GT(pitches, 4.2);
    EXPECT_LT(pitches, 4.5);
}

// Noise of s volts moves a zero crossing by s over the voltage's rate of change there, which rises with the speed's square.
TEST(Coil, NoiseBecomesJitterByTheSlopeOfTheCrossing) {
    Scenario s = coil();
    s.sensor.noise_v = 0.05;
    for (const double rpm : {500.0, 1000.0, 4000.0}) {
        const std::vector<SimulatedEdge> edges = turn(s, rpm, 20.0);
        const WheelSensor sensor(s);
        const double speed = rpm * kRpm;
        const double edge = sensor.true_angle_deg()[29] * kTurn / 360.0 - 84.0 * kTurn / 360.0;
        const double h = 1e-4;
        const double rate =
            speed * (sensor.volts(edge + h, speed, 0.0) - sensor.volts(edge - h, speed, 0.0)) / (2.0 * h);
        double square = 0.0;
        int n = 0;
        for (const SimulatedEdge& e : edges) {
            if (e.tooth != 29) continue;
            const double off = std::remainder(e.time_s * speed - edge, kTurn) / speed;
            square += off * off;
            ++n;
        }
        ASSERT_GT(n, 100);
        EXPECT_NEAR(std::sqrt(square / n), 0.05 / std::fabs(rate), 4.0 / std::sqrt(2.0 * n) * 0.05 / std::fabs(rate));
    }
}

// With hum the crossing is where coil and hum cancel: the voltage there is zero.
TEST(Coil, HumIsPartOfTheCrossing) {
    Scenario s = coil();
    s.sensor.hum_v = 0.3;
    const WheelSensor sensor(s);
    const double speed = 900.0 * kRpm;
    double moved = 0.0;
    for (const SimulatedEdge& e : turn(s, 900.0, 1.0)) {
        EXPECT_NEAR(sensor.volts(speed * e.time_s, speed, e.time_s), 0.0, 2e-3);
        moved = std::max(
            moved,
            std::fabs(std::remainder(
                speed * e.time_s - (sensor.true_angle_deg()[static_cast<std::size_t>(e.tooth)] - 84.0) * kTurn / 360.0,
                kTurn)));
    }
    EXPECT_GT(moved, 1e-3);
}

TEST(Coil, AnEccentricWheelBeatsOnceARevolution) {
    Scenario s = coil();
    s.sensor.eccentricity_mm = 0.5;
    const WheelSensor sensor(s);
    double low = 1e9;
    double high = 0.0;
    for (int tooth = 10; tooth < 48; ++tooth) {
        double peak = 0.0;
        for (int i = -60; i < 0; ++i)
            peak = std::max(peak, sensor.volts((6.0 * tooth - 84.0 + 0.1 * i) * kTurn / 360.0, 100.0, 0.0));
        low = std::min(low, peak);
        high = std::max(high, peak);
    }
    EXPECT_GT(high / low, 1.3);
}

TEST(PortableAtan, IsTheLibrarysToLastDigits) {
    double worst = 0.0;
    for (int i = -4000; i <= 4000; ++i) {
        const double x = std::sinh(0.005 * i);
        worst = std::max(worst, std::fabs(portable::atan(x) - std::atan(x)));
    }
    EXPECT_LT(worst, 1e-15);
}

}  // namespace
}  // namespace kurbel::simulate
