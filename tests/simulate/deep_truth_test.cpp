#include "kurbel/simulate/deep_truth.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

namespace fs = std::filesystem;

TEST(DeepTruth, FitsTheRecordingItBelongsTo) {
    Scenario s = test::inline_four();
    s.seconds = 4.0;
    s.wheel_error.pitch_deg = 0.2;
    s.wheel_error.extra = 0.01;
    s.crank.first_torsion_hz = 2000.0;
    s.misfires.push_back({});
    DeepTruth truth;
    const read::Recording recording = simulate(s, {}, {}, &truth);
    ASSERT_EQ(truth.edge_place.size(), recording.tick.size());
    ASSERT_EQ(truth.firings.size(), recording.truth.size());
    ASSERT_EQ(truth.true_deg.size(), 58U);
    EXPECT_EQ(truth.tooth_place.back(), 57);
    for (std::size_t i = 0; i < truth.firings.size(); ++i) {
        EXPECT_EQ(truth.firings[i].time_s, recording.truth[i].time_s);
        EXPECT_EQ(truth.firings[i].cylinder, recording.truth[i].cylinder);
        EXPECT_EQ(truth.firings[i].burnt == 0.0, recording.truth[i].severity == 1.0);
    }
    // From the phase alone: when cylinder 1 passes its firing TDC for the first time, the crank stands at 720 degrees, which is
    // place 14 of the wheel where the tooth stood true; its real edge comes as much later as the tooth is late.
    const auto first = std::find_if(recording.truth.begin(), recording.truth.end(),
                                    [](const read::TruthRow& row) { return row.cylinder == 1; });
    double nearest = 1.0;
    for (std::size_t i = 0; i < recording.tick.size(); ++i) {
        if (truth.edge_place[i] != 14 || recording.signal[i] != 0) continue;
        const double apart = static_cast<double>(recording.tick[i]) * 1e-9 - first->time_s;
        if (std::fabs(apart) < std::fabs(nearest)) nearest = apart;
    }
    EXPECT_NEAR(nearest * 4800.0, truth.true_deg[14] - 84.0, 0.03);  // 800 rpm are 4800 degrees a second, here about
    const double to_go = 720.0 - truth.start_deg;
    EXPECT_NEAR(first->time_s, to_go / 4800.0, 0.012);
}

TEST(DeepTruth, TellsExtraEdgesFromTeeth) {
    Scenario s = test::inline_four();
    s.seconds = 3.0;
    s.wheel_error.extra = 0.05;
    DeepTruth truth;
    const read::Recording recording = simulate(s, {}, {}, &truth);
    const auto extra = std::count(truth.edge_place.begin(), truth.edge_place.end(), -1);
    EXPECT_NEAR(static_cast<double>(extra) / static_cast<double>(recording.tick.size()), 0.047, 0.015);
}

TEST(DeepTruth, BatteryFallsWithEveryCompression) {
    Scenario s = test::inline_four();
    s.operation.mode = Operation::cranking;
    s.operation.load = Profile(1.0);
    s.settle_s = 0.0;
    s.seconds = 4.0;
    s.starter.stall_nm = 260.0;
    s.starter.stall_a = 700.0;
    s.fuel_cuts.push_back({});
    DeepTruth truth;
    const read::Recording recording = simulate(s, {}, {}, &truth);
    ASSERT_EQ(truth.battery_v.size(), 800U);
    // A dip a compression: counted as local minima well below their neighbourhood.
    int dips = 0;
    for (std::size_t i = 250; i + 12 < truth.battery_v.size(); ++i) {
        bool lowest = true;
        for (std::size_t k = i - 12; k <= i + 12; ++k) lowest = lowest && truth.battery_v[k] >= truth.battery_v[i];
        if (lowest && truth.battery_v[i] < truth.battery_v[i - 12] - 0.02) ++dips;
    }
    int firings = 0;
    for (const read::TruthRow& row : recording.truth) firings += row.time_s > 1.25 && row.time_s < 3.94 ? 1 : 0;
    EXPECT_GT(firings, 8);
    EXPECT_NEAR(dips, firings, 1);
    for (const double volts : truth.battery_v) {
        EXPECT_GT(volts, 7.5);
        EXPECT_LT(volts, 12.61);
    }
}

TEST(DeepTruth, WritesFilesThatSayTheSame) {
    Scenario s = test::inline_four();
    s.seconds = 1.0;
    DeepTruth truth;
    const read::Recording recording = simulate(s, {}, {}, &truth);
    const fs::path folder = fs::path(::testing::TempDir()) / "kurbel-deep-truth";
    fs::create_directories(folder);
    write_deep_truth(folder.string(), truth, recording.signal);
    const auto lines = [&](const char* name) {
        std::ifstream file(folder / name);
        return std::count(std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>(), '\n');
    };
    EXPECT_EQ(lines("truth_wheel.csv"), 59);
    EXPECT_EQ(lines("truth_edges.csv"), static_cast<long>(recording.tick.size()) + 1);
    EXPECT_EQ(lines("truth_firings.csv"), static_cast<long>(recording.truth.size()) + 1);
    EXPECT_EQ(lines("truth_phase.toml"), 2);
    EXPECT_FALSE(fs::exists(folder / "truth_battery.csv"));
    fs::remove_all(folder);
}

}  // namespace
}  // namespace kurbel::simulate
