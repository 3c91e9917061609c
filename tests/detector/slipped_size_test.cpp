// What is told of the engine's size is wrong by a power of ten, or nothing is told and the engine is an unusual one: the wave of its firings tells.
#include <gtest/gtest.h>

#include <cstdint>
#include <string>
#include <vector>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "kurbel/study/score.hpp"

namespace kurbel {
namespace {

/// 20 s of a cell of which cylinder 2 is dead, or where `rate` is given any cylinder loses each firing with that chance.
simulate::Scenario faulty(const std::string& cell, std::uint64_t number, double rate = 0.0) {
    simulate::Scenario s = simulate::read_scenario(KURBEL_DATASETS "/cells/" + cell + ".toml", number);
    s.seconds = 20.0;
    simulate::MisfireRule rule;
    if (rate == 0.0) rule.cylinders = {2};
    rule.rate = rate == 0.0 ? 1.0 : rate;
    s.misfires = {rule};
    return s;
}

Score judged(const read::Recording& recording) {
    const Result<read::Analysis> result = read::analyze(recording, Settings{});
    EXPECT_TRUE(result.ok());
    return score(result.value.events, recording.truth);
}

TEST(SlippedSize, AnInertiaThatIsOffByTenHidesNoMisfireAndMakesNone) {
    for (const std::string cell : {"speed-idle-neutral", "speed-1000-load-050", "layout-inline6"})
        for (const double rate : {0.0, 0.05})
            for (const double factor : {0.1, 10.0}) {
                read::Recording recording = simulate::simulate(faulty(cell, 3, rate));
                recording.config.engine.inertia_kg_m2 *= factor;
                const Score s = judged(recording);
                ASSERT_GT(s.missed.of, 20);
                EXPECT_LE(s.missed.count, 1 + s.missed.of / 100) << cell << " " << rate << " " << factor;
                EXPECT_LE(s.false_alarms.count, 5) << cell << " " << rate << " " << factor;
            }
}

TEST(SlippedSize, ADeadCylinderOfASmallEngineOnAHeavyFlywheelIsFoundWithoutADataSheet) {
    for (std::uint64_t number = 1; number <= 3; ++number) {
        simulate::Scenario s = faulty("layout-inline3", number);
        s.engine.inertia_kg_m2 *= 3.0;
        read::Recording recording = simulate::simulate(s);
        EngineConfig& engine = recording.config.engine;
        engine.bore_mm = engine.stroke_mm = engine.rod_mm = engine.compression_ratio = kUnknown;
        engine.reciprocating_kg = engine.inertia_kg_m2 = kUnknown;
        const Score judgement = judged(recording);
        ASSERT_GT(judgement.missed.of, 50);
        EXPECT_LE(judgement.missed.count, 1) << number;
        EXPECT_EQ(judgement.false_alarms.count, 0) << number;
    }
}

TEST(SlippedSize, ALoadThatIsTakenBackTellsNoSize) {
    for (const bool told : {true, false}) {
        read::Recording recording = simulate::simulate(faulty("speed-1000-load-050", 3, 0.05));
        if (!told) recording.config.engine.inertia_kg_m2 = recording.config.engine.bore_mm = kUnknown;
        // From the second turn on nobody knows it any more.
        std::erase_if(recording.channels, [](const read::ChannelRow& row) { return row.channel == Channel::load; });
        read::ChannelRow row;
        row.channel = Channel::load;
        row.value = 0.5;
        recording.channels.insert(recording.channels.begin(), row);
        row.value = kUnknown;
        row.tick = recording.tick[80];
        recording.channels.insert(recording.channels.begin() + 1, row);
        const Score s = judged(recording);
        ASSERT_GT(s.missed.of, 20);
        EXPECT_LE(s.missed.count, 2) << told;
        EXPECT_LE(s.false_alarms.count, 5) << told;
    }
}

}  // namespace
}  // namespace kurbel
