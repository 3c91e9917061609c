// Start, flare, stall and restart.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "kurbel/simulate/simulator.hpp"
#include "kurbel/simulate/starting.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

using read::Recording;

constexpr double kRpm = portable::kPi / 30.0;

Scenario start() {
    Scenario s = test::inline_four();
    s.operation.mode = Operation::start;
    s.settle_s = 0.0;
    s.manifold.volume_l = 3.0;
    s.starter.engage = {{0.2, 4.0}};
    s.starter.stall_nm = 260.0;
    s.starter.stall_a = 700.0;
    s.seconds = 8.0;
    return s;
}

/// Speed of the flywheel every 5 ms.
struct Trace {
    Recording recording;
    std::vector<double> rpm;

    [[nodiscard]] double at(double time_s) const { return rpm[static_cast<std::size_t>(time_s / 0.005)]; }
    [[nodiscard]] double highest(double from_s, double to_s) const {
        return *std::max_element(rpm.begin() + static_cast<long>(from_s / 0.005),
                                 rpm.begin() + static_cast<long>(to_s / 0.005));
    }
    [[nodiscard]] double lowest(double from_s, double to_s) const {
        return *std::min_element(rpm.begin() + static_cast<long>(from_s / 0.005),
                                 rpm.begin() + static_cast<long>(to_s / 0.005));
    }
};

Trace run(const Scenario& s) {
    Trace trace;
    trace.recording = simulate(s, {}, [&](const EngineModel& model, double time_s) {
        if (time_s < 0.005 * static_cast<double>(trace.rpm.size())) return;
        trace.rpm.push_back(model.speed_rad_s[static_cast<std::size_t>(model.layout().flywheel)] / kRpm);
    });
    return trace;
}

TEST(Start, CranksFlaresAndSettlesAtIdle) {
    const Trace trace = run(start());
    EXPECT_NEAR(trace.at(0.15), 0.0, 1.0);
    const double cranking = trace.highest(0.4, 0.5);
    EXPECT_LT(cranking, 450.0);
    // The first charges are drawn from a plenum at ambient pressure: far more than idle needs.
    EXPECT_GT(trace.highest(0.2, 3.0), 1100.0);
    EXPECT_LT(trace.highest(0.2, 3.0), 3000.0);
    EXPECT_NEAR(trace.at(7.5), 800.0, 100.0);
    // Without fuel for the first turn, and the channel says so.
    EXPECT_TRUE(trace.recording.truth.front().fuel_cut);
    EXPECT_FALSE(trace.recording.truth.back().fuel_cut);
    const auto first = std::find_if(trace.recording.channels.begin(), trace.recording.channels.end(),
                                    [](const read::ChannelRow& row) { return row.channel == Channel::fuel_cut; });
    EXPECT_EQ(first->value, 1.0);
}

TEST(Start, StallsSwingsBackAndStartsAgain) {
    Scenario s = start();
    s.fuel_cuts.push_back({0, 4.5, 6.0});
    s.starter.engage = {{0.2, 3.0}, {8.0, 11.0}};
    s.seconds = 13.0;
    const Trace trace = run(s);
    EXPECT_LT(trace.lowest(4.5, 7.0), -2.0);  // compression throws it back before it rests
    EXPECT_NEAR(trace.at(7.9), 0.0, 1.0);
    EXPECT_NEAR(trace.at(12.5), 800.0, 120.0);
    // Nothing fires while it stands, and truth stays in order.
    double before = -1.0;
    for (const read::TruthRow& row : trace.recording.truth) {
        EXPECT_GE(row.time_s, before - 0.2);
        before = row.time_s;
        if (row.time_s > 6.0 && row.time_s < 8.0) {
            EXPECT_LT(row.work_j, 60.0);
        }
    }
    // Teeth are seen while it swings back, too.
    EXPECT_GT(trace.recording.tick.size(), 1000U);
}

TEST(Start, AWeakBatteryCranksSlower) {
    Scenario s = start();
    s.start.fuel_from_s = 100.0;
    s.seconds = 4.0;
    const auto turns = [](const Scenario& scenario) {
        double angle = 0.0;
        static_cast<void>(simulate(scenario, {}, [&](const EngineModel& model, double) {
            angle = model.angle_rad[static_cast<std::size_t>(model.layout().flywheel)];
        }));
        return angle;
    };
    s.start_deg = 90.0;
    const double good = turns(s);
    s.starter.battery_v = 11.8;
    s.starter.battery_ohm = 0.012;
    EXPECT_LT(turns(s), 0.9 * good);
    s.starter.battery_v = 12.6;
    s.starter.battery_ohm = 0.006;
    s.friction.cold_exponent = 0.25;
    s.channels.coolant_c = Profile(-10.0);
    EXPECT_LT(turns(s), 0.95 * good);
}

TEST(Start, VoltageFollowsOhmsLaw) {
    Scenario s = start();
    s.starter.sag_ohm = 0.0;
    Starting starting(s);
    starting.update(1.0, 1e-3, 0.0, 0.0);
    ASSERT_TRUE(starting.engaged());
    // At stall: I = (12.6/12) 700 / (1 + 0.006 700/12) = 544.4 A, U = 12.6 - 0.006 I.
    EXPECT_NEAR(starting.battery_v(0.0), 12.6 - 0.006 * 544.444, 1e-3);
    EXPECT_NEAR(starting.gain() * starting.level() * 700.0, 544.444, 1e-3);
    EXPECT_NEAR(starting.battery_v(s.starter.free_rpm * kRpm * 1.2), 12.6, 1e-9);  // freewheeling
}

TEST(Start, ColdFrictionIsWithinTheUsualRange) {
    FrictionSettings friction;
    EXPECT_EQ(friction_factor(friction, -20.0), 1.0);
    friction.cold_exponent = 0.25;
    EXPECT_NEAR(friction_factor(friction, 90.0), 1.0, 1e-6);
    // Engineering ranges from memory: 1.5 to 2.2 at 20 C, 3 to 5 at -20 C.
    EXPECT_NEAR(friction_factor(friction, 20.0), 1.85, 0.35);
    EXPECT_NEAR(friction_factor(friction, -20.0), 4.0, 1.0);
}

TEST(Start, TheSparkCalmsTheIdle) {
    Scenario s = test::inline_four();
    s.manifold.volume_l = 3.0;
    s.combustion.scatter_low_load = 0.15;
    s.seconds = 60.0;
    const auto wander = [](const Scenario& scenario) {
        std::vector<double> slow;  // mean speed over eight engine turns
        const Recording recording = simulate(scenario);
        for (std::size_t i = 16; i < recording.truth.size(); i += 16)
            slow.push_back(480.0 / (recording.truth[i].time_s - recording.truth[i - 16].time_s));
        double mean = 0.0;
        double square = 0.0;
        for (const double rpm : slow) mean += rpm / static_cast<double>(slow.size());
        for (const double rpm : slow) square += (rpm - mean) * (rpm - mean) / static_cast<double>(slow.size());
        EXPECT_NEAR(mean, 800.0, 25.0);
        return std::sqrt(square);
    };
    const double alone = wander(s);
    s.idle_spark.gain_deg_per_rpm = 0.1;
    EXPECT_LT(wander(s), 0.8 * alone);
}

/// The most that any tooth moves when the time step is halved, ns.
std::int64_t moved_by_half_a_step(Scenario s) {
    s.step_s = 4e-5;
    const Recording coarse = simulate(s);
    s.step_s = 2e-5;
    const Recording fine = simulate(s);
    EXPECT_EQ(coarse.tick.size(), fine.tick.size());
    std::int64_t worst_ns = 0;
    for (std::size_t i = 0; i < std::min(coarse.tick.size(), fine.tick.size()); ++i)
        worst_ns = std::max(worst_ns, std::abs(coarse.tick[i] - fine.tick[i]));
    return worst_ns;
}

TEST(Start, HalvingTheStepMovesNoToothByATenthOfAMicrosecond) {
    Scenario s = test::without_scatter(start());
    s.seconds = 3.0;
    s.start_deg = 60.0;
    EXPECT_LE(moved_by_half_a_step(s), 100);
    // The starter alone: its freewheel lets go and takes hold in every compression.
    s.operation.mode = Operation::cranking;
    s.fuel_cuts = {FuelCut{}};
    EXPECT_LE(moved_by_half_a_step(s), 100);
}

}  // namespace
}  // namespace kurbel::simulate
