// Verdicts on recordings of another simulator, with truth, that nobody here made (datasets/README.md): of so few firings no misfire
// may be missed and none be false where 0.5 % and 2e-4 are asked for.
#include <gtest/gtest.h>

#include <string>

#include "kurbel/read/analysis.hpp"
#include "kurbel/read/recording.hpp"
#include "kurbel/study/score.hpp"

namespace kurbel {
namespace {

Score score_of(const std::string& name) {
    const read::Recording recording = read::read_recording(std::string(KURBEL_DATASETS) + "/" + name);
    const Result<read::Analysis> result = read::analyze(recording, Settings{});
    EXPECT_TRUE(result.ok());
    return score(result.value.events, recording.truth);
}

TEST(ForeignVerdicts, AnIdlingFour) {
    const Score s = score_of("foreign-inline4-idle");
    EXPECT_EQ(s.missed.of, 34);
    EXPECT_EQ(s.missed.count, 0);
    EXPECT_EQ(s.false_alarms.count, 0);
    EXPECT_EQ(s.misnamed.count, 0);
    EXPECT_LE(s.healthy_unjudged, 1);
}

TEST(ForeignVerdicts, ASixOnTheRoadWhoseFirstCylinderStartsWithoutACharge) {
    const Score s = score_of("foreign-v6-road");
    EXPECT_EQ(s.missed.of, 94);
    EXPECT_EQ(s.missed.count, 0);
    EXPECT_EQ(s.false_alarms.count, 0);
    EXPECT_EQ(s.misnamed.count, 0);
    EXPECT_LE(s.healthy_unjudged, 1);
}

}  // namespace
}  // namespace kurbel
