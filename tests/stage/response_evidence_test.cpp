// Which kind of response misfires tell of, as the speed changes what can show.
#include "kurbel/stage/response_evidence.hpp"

#include <gtest/gtest.h>

#include <cstddef>

namespace kurbel {
namespace {

constexpr int kFirstRare = 2;
constexpr int kFirstMode = 4;
constexpr std::size_t kHypotheses = 9;
using Evidence = ResponseEvidence<kHypotheses>;

/// All kinds gain `others`, one of them `best`.
Evidence::All gains(int one, float best, float others = 2.0F) {
    Evidence::All gain;
    gain.fill(others);
    gain[static_cast<std::size_t>(one)] = best;
    return gain;
}

TEST(ResponseEvidence, AModeThatDoesNotShowIsAsLikelyAsARigidCrank) {
    Evidence evidence;
    evidence.begin(kFirstMode, kFirstRare);
    constexpr int kFast = 8;
    constexpr int kSlow = 5;
    // A mode that shows at high speed, and a thousand misfires at a low one, where it does not.
    for (int n = 0; n < 60; ++n) evidence.add(gains(7, 12.0F), kFast);
    ASSERT_EQ(evidence.best(kFast), 7);
    for (int n = 0; n < 1000; ++n) evidence.add(gains(0, 12.0F), kSlow);
    ASSERT_EQ(evidence.best(kSlow), 0);
    // Back at high speed nothing is known of which of those it is: what was seen at last holds until they differ.
    EXPECT_FALSE(evidence.prefers_another(0, kFast));
    for (int n = 0; n < 10; ++n) evidence.add(gains(7, 12.0F), kFast);
    EXPECT_TRUE(evidence.prefers_another(0, kFast));
    EXPECT_EQ(evidence.best(kFast), 7);
}

TEST(ResponseEvidence, ARareKindNeedsMoreThanAUsualOne) {
    Evidence evidence;
    evidence.begin(kFirstMode, kFirstRare);
    evidence.expect(gains(kFirstRare, 12.0F, 10.0F), 3);
    EXPECT_EQ(evidence.best(3), 0);
    evidence.expect(gains(kFirstRare, 6.0F, 0.0F), 3);
    EXPECT_EQ(evidence.best(3), kFirstRare);
}

}  // namespace
}  // namespace kurbel
