// The shipped engines: each can be read, idles, pulls in gear, and fires at its own angles.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>

#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"

namespace kurbel::simulate {
namespace {

namespace fs = std::filesystem;

std::vector<std::string> engine_names() {
    std::vector<std::string> names;
    for (const fs::directory_entry& entry : fs::directory_iterator(fs::path(KURBEL_DATASETS) / "engines"))
        if (entry.path().extension() == ".toml") names.push_back(entry.path().stem().string());
    std::sort(names.begin(), names.end());
    return names;
}

std::string path_of(const std::string& name) {
    return (fs::path(KURBEL_DATASETS) / "engines" / (name + ".toml")).string();
}

class EngineFile : public ::testing::TestWithParam<std::string> {};

double mean_rpm(const Scenario& s, const read::Recording& recording) {
    double first = -1.0;
    double last = -1.0;
    int cycles = -1;
    for (const read::TruthRow& row : recording.truth) {
        if (row.cylinder != 1) continue;
        if (first < 0.0) first = row.time_s;
        last = row.time_s;
        ++cycles;
    }
    return s.engine.cycle_deg() / 6.0 * cycles / (last - first);
}

TEST_P(EngineFile, IdlesByItself) {
    Scenario s = read_scenario(path_of(GetParam()));
    s.seconds = 6.0;
    const read::Recording recording = simulate(s);
    const double idle = s.operation.speed_rpm.at(0.0);
    EXPECT_NEAR(mean_rpm(s, recording) / idle, 1.0, 0.03);
}

TEST_P(EngineFile, PullsInGearAndFiresAtItsAngles) {
    Scenario s = read_scenario(path_of(GetParam()));
    const double rpm = 3.0 * s.operation.speed_rpm.at(0.0);
    s.operation.mode = Operation::hold;
    s.operation.speed_rpm = Profile(rpm);
    s.operation.load = Profile(0.5);
    s.combustion.scatter = s.combustion.scatter_low_load = 0.0;
    s.seconds = 2.0;
    const read::Recording recording = simulate(s);
    const double mean = mean_rpm(s, recording);
    EXPECT_NEAR(mean / rpm, 1.0, 0.02);
    const auto& order = s.engine.firing_order;
    for (std::size_t i = 1; i < recording.truth.size(); ++i) {
        const auto z = static_cast<std::size_t>(s.engine.cylinders);
        const auto at = static_cast<std::size_t>(
            std::find(order.begin(), order.begin() + s.engine.cylinders, recording.truth[i].cylinder) - order.begin());
        const std::size_t before = (at + z - 1) % z;
        ASSERT_EQ(recording.truth[i - 1].cylinder, order[before]);
        double wanted = s.engine.firing_tdc_deg[at] - s.engine.firing_tdc_deg[before];
        if (wanted <= 0.0) wanted += s.engine.cycle_deg();
        const double turned = (recording.truth[i].time_s - recording.truth[i - 1].time_s) * mean * 6.0;
        EXPECT_NEAR(turned / wanted, 1.0, 0.08) << i;
    }
}

TEST_P(EngineFile, SaysInItsFirstLineWhatItIs) {
    std::ifstream file(path_of(GetParam()));
    std::string line;
    std::getline(file, line);
    EXPECT_EQ(line.substr(0, 2), "# ");
    EXPECT_GT(line.size(), 30U);
    EXPECT_EQ(line.back(), '.');
}

INSTANTIATE_TEST_SUITE_P(Shipped, EngineFile, ::testing::ValuesIn(engine_names()), [](const auto& entry) {
    std::string name = entry.param;
    std::replace(name.begin(), name.end(), '-', '_');
    return name;
});

/// An engine file that pulls, changes its gear, pulls again and brakes, on a rough road all the while.
Scenario pulling(const std::string& name, double rpm) {
    Scenario s = read_scenario(path_of(name));
    s.operation.mode = Operation::road;
    s.operation.speed_rpm = Profile(rpm);
    s.operation.load = Profile(0.5);
    s.gearbox.gear = {{0.0, 2}, {2.0, 3}};
    if (s.engine.cylinders > 1) s.dual_mass.secondary_kg_m2 = 0.4 * s.engine.inertia_kg_m2;
    s.dual_mass.hysteresis_nm = 5.0;
    s.road.kind = s.engine.cylinders > 4 ? RoadKind::pothole : RoadKind::random;
    s.road.every_m = 10.0;
    s.brake.torque_nm = Profile({{3.5, 0.0}, {3.6, 400.0}});
    s.settle_s = 1.0;
    s.seconds = 4.0;
    return s;
}

TEST(StepWidth, HalvingItMovesNoToothByATenthOfAMicrosecond) {
    const std::pair<const char*, double> engines[] = {
        {"single", 3000.0}, {"inline4", 2500.0}, {"v8-crossplane", 2500.0}, {"v12-60", 2500.0}};
    for (const auto& [name, rpm] : engines) {
        Scenario s = pulling(name, rpm);
        double coarse_s = 0.0;
        double before = 0.0;
        const read::Recording coarse = simulate(s, {}, [&](const EngineModel&, double time_s) {
            coarse_s = time_s - before;
            before = time_s;
        });
        s.step_s = 0.5 * coarse_s * (1.0 + 1e-9);
        const read::Recording fine = simulate(s);
        ASSERT_EQ(coarse.tick.size(), fine.tick.size()) << name;
        std::int64_t worst_ns = 0;
        for (std::size_t i = 0; i < fine.tick.size(); ++i)
            worst_ns = std::max(worst_ns, std::abs(coarse.tick[i] - fine.tick[i]));
        RecordProperty(std::string(name) + "_ns", std::to_string(worst_ns));
        EXPECT_LE(worst_ns, 100) << name << ", step " << 1e6 * coarse_s << " us";
    }
}

}  // namespace
}  // namespace kurbel::simulate
