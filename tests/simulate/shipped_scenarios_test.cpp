// The shipped scenarios without a recording beside them do what their first lines say.
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>

#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"

namespace kurbel::simulate {
namespace {

Scenario shipped(const char* name) {
    const std::filesystem::path folder = std::filesystem::path(KURBEL_DATASETS) / "scenarios";
    return read_scenario((folder / (std::string(name) + ".toml")).string());
}

double cov(const read::Recording& recording, double from_s, double to_s) {
    double mean = 0.0;
    double square = 0.0;
    double count = 0.0;
    for (const read::TruthRow& row : recording.truth) {
        if (row.time_s < from_s || row.time_s > to_s || row.severity > 0.0 || row.fuel_cut) continue;
        mean += row.work_j;
        square += row.work_j * row.work_j;
        count += 1.0;
    }
    mean /= count;
    return std::sqrt(square / count - mean * mean) / mean;
}

double mean_rpm(const read::Recording& recording, double from_s, double to_s) {
    int firings = 0;
    for (const read::TruthRow& row : recording.truth) firings += row.time_s > from_s && row.time_s < to_s ? 1 : 0;
    return firings / (to_s - from_s) * 30.0;
}

TEST(ShippedScenario, ColdStartHeatsTheCatalystWithRoughBurns) {
    DeepTruth truth;
    const read::Recording recording = simulate(shipped("cold-start"), {}, {}, &truth);
    // Ranges from memory (Heywood 1988, sec. 9.4 for driveability; catalyst heating common practice): 10 to 30 % while the
    // spark is late, about 10 % at a rough idle.
    EXPECT_GT(cov(recording, 5.0, 25.0), 0.12);
    EXPECT_LT(cov(recording, 5.0, 25.0), 0.3);
    EXPECT_LT(cov(recording, 35.0, 60.0), 0.13);
    EXPECT_NEAR(mean_rpm(recording, 8.0, 24.0), 1210.0, 60.0);
    EXPECT_NEAR(mean_rpm(recording, 45.0, 60.0), 850.0, 40.0);
    double ca50 = 0.0;
    double count = 0.0;
    for (const FiringTruth& firing : truth.firings) {
        if (firing.time_s < 8.0 || firing.time_s > 24.0 || firing.heat_j == 0.0) continue;
        ca50 += firing.ca50_deg;
        count += 1.0;
    }
    EXPECT_NEAR(ca50 / count, 54.0, 8.0);
}

TEST(ShippedScenario, TheStalledEngineShowsItsTeethFromBothSides) {
    DeepTruth truth;
    const read::Recording recording = simulate(shipped("stall-and-restart"), {}, {}, &truth);
    // Where the wheel turns back, places go down.
    int back = 0;
    int before = -1;
    for (std::size_t i = 0; i < truth.edge_place.size(); ++i) {
        if (recording.signal[i] != 0) continue;
        const int place = truth.edge_place[i];
        const double time_s = static_cast<double>(recording.tick[i]) * 1e-9;
        if (before >= 0 && (place == before - 1 || place == before)) {
            ++back;
            EXPECT_TRUE(time_s > 9.0 && time_s < 16.0) << time_s;
        }
        before = place;
    }
    EXPECT_GT(back, 3);
    EXPECT_NEAR(mean_rpm(recording, 20.0, 25.0), 850.0, 60.0);
}

TEST(ShippedScenario, TheFootMovesTheCharge) {
    const read::Recording recording = simulate(shipped("foot-down"));
    double closed = 0.0;
    double open = 0.0;
    for (const read::ChannelRow& row : recording.channels) {
        if (row.channel != Channel::load) continue;
        const double time_s = static_cast<double>(row.tick) * 1e-9;
        if (time_s > 7.0 && time_s < 8.0) closed = row.value;
        if (time_s > 10.0 && time_s < 13.0) open = row.value;
    }
    EXPECT_GT(open, closed + 0.25);
}

TEST(ShippedScenario, HalfTheCylindersCarryTheLoad) {
    const read::Recording recording = simulate(shipped("half-the-cylinders"));
    for (const read::TruthRow& row : recording.truth) {
        if (row.time_s > 8.1 && row.time_s < 18.0) {
            EXPECT_EQ(row.fuel_cut, row.cylinder == 2 || row.cylinder == 3);
        }
    }
    EXPECT_NEAR(mean_rpm(recording, 9.0, 17.0), 1800.0, 30.0);
}

}  // namespace
}  // namespace kurbel::simulate
