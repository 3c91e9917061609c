// A load channel whose first value comes some time after the first edge: until then the engine did what it does after.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdint>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel {
namespace {

TEST(LateChannel, FiringsBeforeItsFirstValueAreJudgedByThat) {
    using namespace simulate::test;
    read::Recording recording = simulate::simulate(on_a_good_wheel(in_gear(inline_four(), 2000.0, 0.6), 6.0));
    // Four to six firings have no load yet: taken for none, it made their work a tenth of what they do.
    const auto late = static_cast<std::int64_t>(0.08 * recording.config.timer.hz);
    auto& rows = recording.channels;
    rows.erase(
        std::remove_if(rows.begin(), rows.end(),
                       [late](const read::ChannelRow& row) { return row.channel == Channel::load && row.tick < late; }),
        rows.end());
    const Result<read::Analysis> result = read::analyze(recording, Settings{});
    ASSERT_TRUE(result.ok());
    const auto& events = result.value.events;
    ASSERT_GT(events.size(), 100U);
    int judged = 0;
    for (const Event& event : events) {
        if (event.verdict == Verdict::unjudged) continue;
        EXPECT_EQ(event.verdict, Verdict::fired) << event.time_s;
        EXPECT_LT(std::abs(event.severity), 0.3) << event.time_s;
        if (event.time_s < 0.08) ++judged;
    }
    EXPECT_GE(judged, 3);
}

}  // namespace
}  // namespace kurbel
