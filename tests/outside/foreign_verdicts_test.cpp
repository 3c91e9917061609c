// Verdicts on recordings of another simulator, with truth, that nobody here made (datasets/README.md): of so few firings no misfire
// may be missed and none be false where 0.5 % and 2e-4 are asked for.
#include <gtest/gtest.h>

#include <cstdint>
#include <string>

#include "kurbel/read/analysis.hpp"
#include "kurbel/read/recording.hpp"
#include "kurbel/study/score.hpp"

namespace kurbel {
namespace {

void expect_no_mistake(const std::string& name, std::int64_t misfires) {
    const read::Recording recording = read::read_recording(std::string(KURBEL_DATASETS) + "/" + name);
    const Result<read::Analysis> result = read::analyze(recording, Settings{});
    ASSERT_TRUE(result.ok());
    const Score s = score(result.value.events, recording.truth);
    EXPECT_EQ(s.missed.of, misfires);
    EXPECT_EQ(s.missed.count, 0);
    EXPECT_EQ(s.false_alarms.count, 0);
    EXPECT_EQ(s.misnamed.count, 0);
    EXPECT_LE(s.healthy_unjudged, 1);
}

TEST(ForeignVerdicts, AnIdlingFour) { expect_no_mistake("foreign-inline4-idle", 34); }

TEST(ForeignVerdicts, ASixOnTheRoadWhoseFirstCylinderStartsWithoutACharge) { expect_no_mistake("foreign-v6-road", 94); }

}  // namespace
}  // namespace kurbel
