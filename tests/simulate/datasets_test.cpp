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

INSTANTIATE_TEST_SUITE_P(Datasets, Shipped,
                         ::testing::Values("pickup-1-before", "pickup-2-swapped", "pickup-3-repaired", "pickup-road",
                                           "pickup-cranking"));

}  // namespace
}  // namespace kurbel::simulate
