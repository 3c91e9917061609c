// No load channel, as where there is the crank sensor alone: what the foot does is told by the crank.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdint>
#include <string>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "kurbel/study/score.hpp"

namespace kurbel {
namespace {

Score judged_without_load(const std::string& cell, std::uint64_t number, double rate) {
    simulate::Scenario s = simulate::read_scenario(KURBEL_DATASETS "/cells/" + cell + ".toml", number);
    s.misfires.clear();
    if (rate > 0.0) {
        simulate::MisfireRule rule;
        rule.rate = rate;
        s.misfires = {rule};
    }
    read::Recording recording = simulate::simulate(s);
    auto& rows = recording.channels;
    rows.erase(std::remove_if(rows.begin(), rows.end(),
                              [](const read::ChannelRow& row) { return row.channel == Channel::load; }),
               rows.end());
    const Result<read::Analysis> result = read::analyze(recording, Settings{});
    EXPECT_TRUE(result.ok());
    // An estimate is no channel: nobody told it.
    for (const Event& event : result.value.events) EXPECT_FALSE(event.load == event.load);
    return score(result.value.events, recording.truth);
}

TEST(UntoldLoad, MisfiresAreFoundThoughTheFootLeavesThePedal) {
    std::int64_t missed = 0;
    std::int64_t misfires = 0;
    std::int64_t called = 0;
    std::int64_t healthy = 0;
    for (std::uint64_t number = 1; number <= 4; ++number) {
        const Score s = judged_without_load("transient-tip-out", number, 0.05);
        missed += s.missed.count;
        misfires += s.missed.of;
        called += s.false_alarms.count;
        healthy += s.false_alarms.of;
    }
    ASSERT_GT(misfires, 300);
    EXPECT_LE(called, healthy / 2000);
    EXPECT_LE(missed, 2 * misfires / 5);  // two thirds of them where the load is taken for constant
}

TEST(UntoldLoad, NobodyIsAccusedWhereTheFootMoves) {
    std::int64_t called = 0;
    std::int64_t healthy = 0;
    for (const std::string cell : {"transient-tip-in", "transient-tip-out", "transient-clutch"})
        for (std::uint64_t number = 1; number <= 3; ++number) {
            const Score s = judged_without_load(cell, number, 0.0);
            called += s.false_alarms.count;
            healthy += s.false_alarms.of;
        }
    ASSERT_GT(healthy, 5000);
    EXPECT_LE(called, healthy / 2500);
}

}  // namespace
}  // namespace kurbel
