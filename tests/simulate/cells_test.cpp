// The cells that ship: each can be drawn by any number, and its engine turns.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <set>
#include <sstream>
#include <string>

#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"

namespace kurbel::simulate {
namespace {

namespace fs = std::filesystem;

std::vector<fs::path> cells() {
    std::vector<fs::path> paths;
    for (const fs::directory_entry& entry : fs::directory_iterator(fs::path(KURBEL_DATASETS) / "cells"))
        if (entry.path().extension() == ".toml") paths.push_back(entry.path());
    std::sort(paths.begin(), paths.end());
    return paths;
}

std::set<std::string> groups() {
    std::set<std::string> names;
    for (const fs::path& path : cells()) names.insert(path.stem().string().substr(0, path.stem().string().find('-')));
    return names;
}

TEST(Cells, CoverWhatADetectorShouldBeTriedUnder) {
    const std::set<std::string> wanted{"pattern",   "speed", "layout", "wheel",  "start", "transient",
                                       "driveline", "road",  "crank",  "spread", "told",  "workshop"};
    EXPECT_EQ(groups(), wanted);
    EXPECT_GT(cells().size(), 100U);
}

TEST(Cells, CanBeDrawnByAnyNumber) {
    for (const fs::path& path : cells()) {
        std::set<std::uint64_t> seeds;
        for (std::uint64_t draw = 1; draw <= 12; ++draw) {
            try {
                seeds.insert(read_scenario(path.string(), draw).seed);
            } catch (const read::InputError& error) {
                ADD_FAILURE() << path.stem() << ", draw " << draw << ": " << error.what();
                break;
            }
        }
        EXPECT_EQ(seeds.size(), 12U) << path.stem();
    }
}

TEST(Cells, BeginWithAWordOfWhatTheyAre) {
    for (const fs::path& path : cells()) {
        std::string first;
        std::getline(std::ifstream(path) >> std::ws, first);
        EXPECT_GT(first.size(), 25U) << path.stem();
        EXPECT_EQ(first[0], '#') << path.stem();
    }
}

/// One cell of each group, and every layout, at an engine that nobody looked at; a second is enough to see that it turns.
TEST(Cells, TheirEnginesTurn) {
    std::set<std::string> seen;
    for (const fs::path& path : cells()) {
        const std::string group = path.stem().string().substr(0, path.stem().string().find('-'));
        if (group != "layout" && !seen.insert(group).second) continue;
        Scenario s = read_scenario(path.string(), 4711);
        const bool starts = s.operation.mode == Operation::start || s.operation.mode == Operation::cranking;
        s.settle_s = starts ? 0.0 : 1.0;
        s.seconds = starts ? 4.0 : 1.0;
        const read::Recording recording = simulate(s);
        const double target = s.operation.speed_rpm.at(0.0);
        // Teeth a second at half the speed that is asked for; a starter turns more slowly.
        const double least = (starts ? 60.0 : 0.5 * target) / 60.0 * s.crank_wheel.teeth * s.seconds;
        EXPECT_GT(static_cast<double>(recording.tick.size()), least) << path.stem();
        EXPECT_FALSE(recording.truth.empty()) << path.stem();
    }
}

}  // namespace
}  // namespace kurbel::simulate
