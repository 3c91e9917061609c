// A load channel that tells torque: nothing where an engine turns itself, however much it burns for that.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel {
namespace {

/// Idle of a four whose combustion scatters by 8 % and loses one firing in thirty.
read::Recording idle(std::uint64_t seed) {
    using namespace simulate::test;
    simulate::Scenario s = on_a_good_wheel(inline_four(), 20.0);
    s.seed = seed;
    s.combustion.scatter_low_load = 0.08;
    simulate::MisfireRule rule;
    rule.pattern = simulate::MisfirePattern::random;
    rule.rate = 1.0 / 30.0;
    s.misfires = {rule};
    return simulate::simulate(s);
}

/// The channel as torque has it: less what the engine itself takes, never below nothing.
void tell_torque(read::Recording& recording) {
    double most = 0.0;
    for (const read::ChannelRow& row : recording.channels)
        if (row.channel == Channel::load) most = std::max(most, row.value);
    for (read::ChannelRow& row : recording.channels)
        if (row.channel == Channel::load) row.value = std::max(0.0, row.value - 0.95 * most);
}

/// Mean work of the firings that lost nothing on purpose.
double usual_work(const read::Recording& recording) {
    double sum = 0.0;
    int count = 0;
    for (const read::TruthRow& row : recording.truth)
        if (row.severity < 0.01) {
            sum += row.work_j;
            ++count;
        }
    return sum / count;
}

TEST(TorqueChannel, AtIdleItTellsNothingAndFiringsAreJudgedAllTheSame) {
    int lost = 0;
    int found = 0;
    int healthy = 0;
    int unjudged = 0;
    int weak = 0;
    double read_as = 0.0;
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
        read::Recording recording = idle(seed);
        tell_torque(recording);
        const Result<read::Analysis> result = read::analyze(recording, Settings{});
        ASSERT_TRUE(result.ok());
        const double usual_j = usual_work(recording);
        for (const Event& event : result.value.events) {
            const auto truth =
                std::find_if(recording.truth.begin(), recording.truth.end(), [&](const read::TruthRow& row) {
                    return row.cylinder == event.cylinder && std::fabs(row.time_s - event.time_s) < 0.01;
                });
            if (truth == recording.truth.end() || event.time_s < 0.3) continue;
            if (truth->severity > 0.5) {
                ++lost;
                found += event.verdict == Verdict::misfire ? 1 : 0;
                read_as += event.severity;
            } else {
                ++healthy;
                unjudged += event.verdict == Verdict::unjudged ? 1 : 0;
                // But for a burn that was that weak by nature.
                EXPECT_TRUE(event.verdict != Verdict::misfire || truth->work_j < 0.65 * usual_j)
                    << seed << ' ' << event.time_s;
                weak += event.verdict == Verdict::misfire ? 1 : 0;
            }
        }
    }
    EXPECT_GT(lost, 20);
    EXPECT_EQ(found, lost);
    EXPECT_LE(weak, 1);
    // What the engine turns itself with is expected of it, to a half at most.
    EXPECT_NEAR(read_as / lost, 1.2, 0.5);
    EXPECT_LE(unjudged, healthy / 50);
}

}  // namespace
}  // namespace kurbel
