// The shipped recordings come out of their scenario files again, byte for byte.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>

#include "kurbel/read/recording_writer.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"

namespace kurbel::simulate {
namespace {

namespace fs = std::filesystem;

std::string bytes(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

class Shipped : public ::testing::TestWithParam<const char*> {};

TEST_P(Shipped, ComesOutOfItsScenarioAgain) {
    const fs::path datasets = KURBEL_DATASETS;
    const fs::path shipped = datasets / GetParam();
    const Scenario scenario = read_scenario((datasets / "scenarios" / (std::string(GetParam()) + ".toml")).string());
    const fs::path again = fs::path(::testing::TempDir()) / (std::string("kurbel-again-") + GetParam());
    read::WriteOptions form;
    form.npy = true;
    read::write_recording(again.string(), simulate(scenario), form);
    int files = 0;
    for (const fs::directory_entry& entry : fs::directory_iterator(shipped)) {
        const fs::path name = entry.path().filename();
        EXPECT_TRUE(bytes(entry.path()) == bytes(again / name)) << name << " differs";
        ++files;
    }
    EXPECT_EQ(files, 5);  // recording.toml, crank.npy, cam.npy, channels.csv, truth.csv
    fs::remove_all(again);
}

// The reference shows every key at its default, so it must run as the same engine without all those keys does.
TEST(ReferenceScenario, ShowsTheDefaults) {
    const Scenario shown = read_scenario((fs::path(KURBEL_DATASETS) / "scenarios" / "reference.toml").string());
    Scenario plain;
    plain.engine = shown.engine;
    plain.crank_wheel = shown.crank_wheel;
    plain.cam_wheel = shown.cam_wheel;
    Scenario run = shown;
    EXPECT_EQ(run.seconds, plain.seconds);
    for (const Operation mode : {Operation::neutral, Operation::hold, Operation::cranking}) {
        for (Scenario* s : {&run, &plain}) {
            s->seconds = 2.0;
            s->operation.mode = mode;
            s->operation.load = mode == Operation::neutral ? Profile() : Profile(0.5);
            s->wheel_error.jitter_deg = 0.01;
        }
        const read::Recording a = simulate(run);
        const read::Recording b = simulate(plain);
        EXPECT_TRUE(a.tick == b.tick) << static_cast<int>(mode);
        ASSERT_EQ(a.channels.size(), b.channels.size());
        for (std::size_t i = 0; i < a.channels.size(); ++i) ASSERT_EQ(a.channels[i].value, b.channels[i].value);
    }
}

INSTANTIATE_TEST_SUITE_P(Datasets, Shipped,
                         ::testing::Values("pickup-1-before", "pickup-2-swapped", "pickup-3-repaired", "pickup-road",
                                           "pickup-cranking"));

}  // namespace
}  // namespace kurbel::simulate
