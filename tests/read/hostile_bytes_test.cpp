// Damaged files are read or refused with InputError, never more: bytes changed, cut out and doubled at seeded places.
#include <gtest/gtest.h>

#include <random>

#include "../src/read/npy.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "read/folder.hpp"

namespace {

using namespace kurbel::read;
using kurbel::test::Folder;

std::string damaged(std::string text, std::mt19937& random) {
    const auto any = [&](std::size_t limit) { return static_cast<std::size_t>(random()) % (limit == 0 ? 1 : limit); };
    constexpr std::string_view kNasty = "\n\r,\"-+.eE09[]={}'#\0\xFF\x80 ";
    for (std::size_t strokes = 1 + any(4); strokes > 0 && !text.empty(); --strokes) {
        const std::size_t at = any(text.size());
        switch (any(4)) {
            case 0: text[at] = kNasty[any(kNasty.size())]; break;
            case 1: text.erase(at, 1 + any(8)); break;
            case 2: text.insert(at, text.substr(any(text.size()), 1 + any(12))); break;
            default: text.resize(any(2) == 0 ? at : text.size()); break;
        }
    }
    return text;
}

TEST(HostileBytes, NeverDoMoreThanBeRefused) {
    const Folder folder;
    const std::string toml = kurbel::test::timer_toml(1e6, 0) + "[cam_wheel]\nedges_deg = [50.0, 410]\n";
    const std::string csv = "tick,signal\n10,crank\n20,cam\n30,crank\n40,crank\n";
    const std::string channels = "time_s,load,fuel_cut\n0.00001,0.5,0\n0.00002,,1\n";
    const std::string truth = "time_s,cylinder,severity,fuel_cut\n0.00001,1,0.5,0\n0.00002,3,,1\n";
    const std::string array = npy_bytes(std::vector<std::int64_t>{10, 20, 30});
    std::mt19937 random(20261125);
    constexpr int kRounds = 1500;
    int refused = 0;
    for (int round = 0; round < kRounds; ++round) {
        const bool npy = round % 3 == 0;
        folder.write("recording.toml", round % 5 == 0 ? damaged(toml, random) : toml);
        std::filesystem::remove(folder.file(npy ? "edges.csv" : "crank.npy"));
        folder.write(npy ? "crank.npy" : "edges.csv", damaged(npy ? array : csv, random));
        folder.write("channels.csv", round % 2 == 0 ? damaged(channels, random) : channels);
        folder.write("truth.csv", round % 2 == 1 ? damaged(truth, random) : truth);
        try {
            const Recording recording = read_recording(folder.path());
            ASSERT_EQ(recording.tick.size(), recording.signal.size());
            ASSERT_FALSE(recording.tick.empty());
        } catch (const InputError& error) {
            ++refused;
            ASSERT_EQ(std::string(error.what()).rfind(folder.path(), 0), 0U) << error.what();
        }
    }
    EXPECT_GT(refused, kRounds / 4);
    EXPECT_LT(refused, kRounds);
}

TEST(HostileBytes, OfAScenarioDoNoMore) {
    const Folder folder;
    std::ifstream stream(KURBEL_DATASETS "/scenarios/reference.toml");
    const std::string text{std::istreambuf_iterator<char>(stream), {}};
    ASSERT_GT(text.size(), 1000U);
    std::mt19937 random(20261126);
    constexpr int kRounds = 1000;
    int refused = 0;
    for (int round = 0; round < kRounds; ++round) {
        folder.write("s.toml", damaged(text, random));
        try {
            // What is accepted must be a scenario that could be run.
            ASSERT_TRUE(validate(kurbel::simulate::read_scenario(folder.file("s.toml"))).ok());
        } catch (const InputError& error) {
            ++refused;
            ASSERT_EQ(std::string(error.what()).rfind(folder.file("s.toml"), 0), 0U) << error.what();
        }
    }
    EXPECT_GT(refused, kRounds / 4);
    EXPECT_LT(refused, kRounds);
}

}  // namespace
