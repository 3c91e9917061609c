#include "kurbel/simulate/simulator.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

using read::Recording;
using read::TruthRow;

/// Mean speed over the recording from the first and last firing of cylinder 1.
double mean_rpm(const Recording& recording, double cycle_turns = 2.0) {
    double first = -1.0;
    double last = -1.0;
    int cycles = -1;
    for (const TruthRow& row : recording.truth) {
        if (row.cylinder != 1) continue;
        if (first < 0.0) first = row.time_s;
        last = row.time_s;
        ++cycles;
    }
    return 60.0 * cycle_turns * cycles / (last - first);
}

bool same(const Recording& a, const Recording& b) {
    if (a.tick != b.tick || a.signal != b.signal || a.truth.size() != b.truth.size()) return false;
    for (std::size_t i = 0; i < a.truth.size(); ++i)
        if (a.truth[i].time_s != b.truth[i].time_s || a.truth[i].work_j != b.truth[i].work_j) return false;
    return true;
}

TEST(Simulator, TheSeedDecidesEverything) {
    Scenario s = test::inline_four();
    s.seconds = 3.0;
    s.wheel_error.pitch_deg = 0.1;
    s.wheel_error.jitter_deg = 0.01;
    s.misfires.push_back({});
    const Recording once = simulate(s);
    EXPECT_TRUE(same(once, simulate(s)));
    s.seed = 2;
    EXPECT_FALSE(same(once, simulate(s)));
}

TEST(Simulator, FiringsComeInOrderAtTheirAngles) {
    Scenario s = test::without_scatter(test::inline_engine({1, 2, 4, 5, 3}));
    s.seconds = 5.0;
    const Recording recording = simulate(s);
    ASSERT_GT(recording.truth.size(), 100U);
    const std::array<int, 5> next{0, 2, 4, 1, 5};  // after cylinder 1 comes 2, after 2 comes 4, ...
    for (std::size_t i = 1; i < recording.truth.size(); ++i) {
        const TruthRow& before = recording.truth[i - 1];
        const TruthRow& here = recording.truth[i];
        const int expected = before.cylinder == 5   ? 3
                             : before.cylinder == 3 ? 1
                                                    : next[static_cast<std::size_t>(before.cylinder)];
        EXPECT_EQ(here.cylinder, expected);
        // 144 degrees at 800 rpm are 30 ms.
        EXPECT_NEAR(here.time_s - before.time_s, 0.030, 0.003);
    }
}

TEST(Simulator, EdgesStandWhereTheTruthSaysTheCrankIs) {
    Scenario s = test::without_scatter(test::inline_four());
    s.crank.first_torsion_hz = 2000.0;  // stiff, so that every throw stands where the sensor does
    s.seconds = 3.0;
    const Recording recording = simulate(s);
    // Cylinder 1's TDC lies 84 degrees after place 0, that is exactly at place 14 of the wheel, 60 - 2 with places 6 degrees apart.
    int met = 0;
    for (const TruthRow& row : recording.truth) {
        if (row.cylinder != 1) continue;
        for (const std::int64_t tick : recording.tick)
            if (std::fabs(static_cast<double>(tick) * 1e-9 - row.time_s) < 5e-6) ++met;
    }
    const auto firings = std::count_if(recording.truth.begin(), recording.truth.end(),
                                       [](const TruthRow& row) { return row.cylinder == 1; });
    EXPECT_EQ(met, firings);
}

TEST(Simulator, GovernorHoldsIdleAndBrakeHoldsSpeed) {
    Scenario idle = test::inline_four();
    idle.seconds = 20.0;
    EXPECT_NEAR(mean_rpm(simulate(idle)), 800.0, 8.0);
    Scenario fast = test::inline_four();
    fast.operation.speed_rpm = Profile(6000.0);
    EXPECT_NEAR(mean_rpm(simulate(fast)), 6000.0, 30.0);
    EXPECT_NEAR(mean_rpm(simulate(test::in_gear(test::inline_four(), 3000.0, 0.6))), 3000.0, 30.0);
}

TEST(Simulator, SpeedFollowsItsProfile) {
    Scenario s = test::in_gear(test::inline_four(), 0.0, 0.5);
    s.operation.speed_rpm = Profile({{0.0, 1500.0}, {10.0, 4500.0}});
    s.seconds = 10.0;
    const Recording recording = simulate(s);
    const double early = recording.truth[5].time_s - recording.truth[1].time_s;
    const auto n = recording.truth.size();
    const double late = recording.truth[n - 2].time_s - recording.truth[n - 6].time_s;
    EXPECT_NEAR(120.0 / early, 1500.0, 60.0);
    EXPECT_NEAR(120.0 / late, 4500.0, 90.0);
}

TEST(Simulator, MisfiresAreLabelledAndDoNoWork) {
    Scenario s = test::in_gear(test::inline_four(), 2000.0, 0.5);
    MisfireRule dead;
    dead.pattern = MisfirePattern::continuous;
    dead.cylinders = {3};
    MisfireRule partial;
    partial.pattern = MisfirePattern::continuous;
    partial.cylinders = {2};
    partial.severity = 0.4;
    s.misfires = {dead, partial};
    s.combustion.spread = 0.0;
    const Recording recording = simulate(s);
    std::array<double, 5> work{};
    std::array<int, 5> count{};
    for (const TruthRow& row : recording.truth) {
        const auto c = static_cast<std::size_t>(row.cylinder);
        work[c] += row.work_j;
        ++count[c];
        EXPECT_EQ(row.severity, row.cylinder == 3 ? 1.0 : row.cylinder == 2 ? 0.4 : 0.0);
    }
    const double healthy = work[1] / count[1];
    EXPECT_NEAR(work[3] / count[3] / healthy, 0.0, 0.02);
    EXPECT_NEAR(work[2] / count[2] / healthy, 0.6, 0.02);
}

TEST(Simulator, ScatterIsAsWideAsAskedAndLeansLow) {
    Scenario s = test::in_gear(test::inline_four(), 3000.0, 0.6);
    s.combustion.scatter = 0.06;
    s.combustion.spread = 0.0;
    s.seconds = 60.0;
    const Recording recording = simulate(s);
    double s1 = 0.0;
    double s2 = 0.0;
    double s3 = 0.0;
    const auto n = static_cast<double>(recording.truth.size());
    for (const TruthRow& row : recording.truth) s1 += row.work_j;
    for (const TruthRow& row : recording.truth) {
        const double d = row.work_j - s1 / n;
        s2 += d * d;
        s3 += d * d * d;
    }
    const double deviation = std::sqrt(s2 / n);
    EXPECT_NEAR(deviation / (s1 / n), 0.06, 0.009);
    EXPECT_LT(s3 / n / (deviation * deviation * deviation), -0.3);
}

TEST(Simulator, FuelCutIsSaidInChannelAndTruth) {
    Scenario s = test::in_gear(test::inline_four(), 2500.0, 0.3);
    s.fuel_cuts.push_back({0, 3.0, 6.0});
    s.fuel_cuts.push_back({2, 8.0, 9.0});
    const Recording recording = simulate(s);
    for (const TruthRow& row : recording.truth) {
        const double trapped_s = row.time_s - 30.0 / 2500.0;
        if (trapped_s > 3.1 && trapped_s < 5.9) {
            EXPECT_TRUE(row.fuel_cut);
            EXPECT_LT(row.work_j, 20.0);
            EXPECT_EQ(row.severity, 0.0);
        }
        if (row.time_s > 6.1 && row.time_s < 7.9) {
            EXPECT_FALSE(row.fuel_cut);
        }
        if (trapped_s > 8.1 && trapped_s < 8.9) {
            EXPECT_EQ(row.fuel_cut, row.cylinder == 2);
        }
    }
    const auto at = [&](Channel channel, double time_s) {
        double value = kUnknown;
        for (const read::ChannelRow& row : recording.channels)
            if (row.channel == channel && static_cast<double>(row.tick) * 1e-9 <= time_s) value = row.value;
        return value;
    };
    EXPECT_EQ(at(Channel::fuel_cut, 4.0), 1.0);
    EXPECT_EQ(at(Channel::fuel_cut, 7.0), 0.0);
    EXPECT_EQ(at(fuel_cut_channel(2), 8.5), 1.0);
    EXPECT_NEAR(at(Channel::load, 1.0), 0.3, 0.03);
    EXPECT_GT(at(Channel::vehicle_kmh, 1.0), 20.0);
}

TEST(Simulator, StarterCranksAndALeakShowsInThePressure) {
    Scenario s = test::inline_four();
    s.operation.mode = Operation::cranking;
    s.operation.load = Profile(1.0);
    s.settle_s = 0.0;
    s.seconds = 6.0;
    s.fuel_cuts.push_back({});
    s.combustion.leak_mm2 = {0.0, 0.6, 0.0, 0.0};
    const Recording recording = simulate(s);
    const double rpm = mean_rpm(recording);
    EXPECT_GT(rpm, 150.0);
    EXPECT_LT(rpm, 300.0);
    double tight = 0.0;
    double leaking = 0.0;
    for (const TruthRow& row : recording.truth) {
        EXPECT_TRUE(row.fuel_cut);
        if (row.time_s > 2.0) (row.cylinder == 2 ? leaking : tight) = row.tdc_bar;
    }
    EXPECT_GT(tight, 15.0);
    EXPECT_LT(leaking, 0.92 * tight);
}

TEST(Simulator, RunsWhatTheLayoutListsSay) {
    Scenario v8 = test::inline_engine({1, 8, 4, 3, 6, 5, 7, 2});
    for (int c = 0; c < 8; ++c) v8.engine.throw_number[static_cast<std::size_t>(c)] = c / 2 + 1;
    EXPECT_NEAR(mean_rpm(simulate(test::in_gear(v8, 2000.0, 0.4))), 2000.0, 20.0);

    Scenario odd = test::inline_engine({1, 6, 5, 4, 3, 2});
    odd.engine.firing_tdc_deg = {0, 90, 240, 330, 480, 570};
    const Recording recording = simulate(test::in_gear(odd, 2000.0, 0.4));
    for (std::size_t i = 1; i < recording.truth.size(); ++i) {
        const double degrees = (recording.truth[i].time_s - recording.truth[i - 1].time_s) * 2000.0 * 6.0;
        const bool short_step = recording.truth[i - 1].cylinder % 2 == 1;  // 1-6, 5-4 and 3-2 are 90 degrees apart
        EXPECT_NEAR(degrees, short_step ? 90.0 : 150.0, 8.0);
    }

    Scenario single = test::inline_engine({1});
    single.engine.inertia_kg_m2 = 0.3;
    EXPECT_NEAR(mean_rpm(simulate(test::in_gear(single, 2500.0, 0.7))), 2500.0, 40.0);

    Scenario two_stroke = test::inline_engine({1, 2});
    two_stroke.engine.strokes = 2;
    make_even_firing(two_stroke.engine);
    two_stroke.gas_exchange.intake_closing_deg = -100.0;
    two_stroke.gas_exchange.exhaust_opening_deg = 100.0;
    EXPECT_NEAR(mean_rpm(simulate(test::in_gear(two_stroke, 3000.0, 0.7)), 1.0), 3000.0, 40.0);
}

TEST(Simulator, ReactsToNoSingleMisfire) {
    // The governor's answer to one lost firing stays below 1 % of the charge within the same engine cycle.
    Scenario s = test::without_scatter(test::inline_four());
    MisfireRule once;
    once.pattern = MisfirePattern::continuous;
    once.cylinders = {1};
    once.from_s = 2.0;
    once.to_s = 2.15;
    s.misfires = {once};
    s.seconds = 2.4;
    const Recording recording = simulate(s);
    double before = 0.0;
    double most = 0.0;
    for (const read::ChannelRow& row : recording.channels) {
        if (row.channel != Channel::load) continue;
        const double t = static_cast<double>(row.tick) * 1e-9;
        if (t < 2.0) before = row.value;
        if (t >= 2.0 && t < 2.25) most = std::max(most, std::fabs(row.value - before));
    }
    const auto lost = std::count_if(recording.truth.begin(), recording.truth.end(),
                                    [](const TruthRow& row) { return row.severity > 0.0; });
    EXPECT_EQ(lost, 1);
    EXPECT_LT(most, 0.01);
}

TEST(Simulator, HalvingTheStepMovesNoToothByATenthOfAMicrosecond) {
    Scenario s = test::in_gear(test::inline_four(), 6000.0, 0.6);
    s.misfires.push_back({});
    s.seconds = 5.0;
    const Recording coarse = simulate(s);
    s.step_s = 8e-6;
    const Recording fine = simulate(s);
    ASSERT_EQ(coarse.tick.size(), fine.tick.size());
    std::int64_t worst_ns = 0;
    for (std::size_t i = 0; i < fine.tick.size(); ++i)
        worst_ns = std::max(worst_ns, std::abs(coarse.tick[i] - fine.tick[i]));
    EXPECT_LE(worst_ns, 100);
}

TEST(Simulator, RefusesWhatCannotRun) {
    Scenario s = test::inline_four();
    s.engine.bore_mm = kUnknown;
    EXPECT_THROW(static_cast<void>(simulate(s)), std::invalid_argument);
    s = test::inline_four();
    s.operation.mode = Operation::hold;
    EXPECT_THROW(static_cast<void>(simulate(s)), std::invalid_argument);
}

}  // namespace
}  // namespace kurbel::simulate
