// What the swap study takes to be possible, before any evidence: src/study/swap_stories.hpp.
#include "../../src/study/swap_stories.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace kurbel::swap {
namespace {

/// Five rows; the parts of the first three went round: 0 to 1 to 2 to 0.
Moves ring() { return {5, 0b00111U, {{1, 2, 0, 3, 4}}}; }

std::vector<Explanation> stories(const Moves& moves, std::uint32_t faulty) {
    std::vector<Explanation> made;
    add_stories(moves, faulty, 0.0, made);
    return made;
}

std::uint32_t pattern(const Explanation& one) {
    std::uint32_t set = 0;
    for (std::size_t r = 0; r < one.after.size(); ++r)
        if (one.after[r].kind != Cause::Kind::healthy) set |= 1U << r;
    return set;
}

TEST(SwapStories, PriorsSumToOneWhateverWasFaulty) {
    for (const Moves& moves : {ring(), Moves{3, 0b011U, {{1, 0, 2}}}, Moves{2, 0b11U, {{1, 0}}}})
        for (std::uint32_t faulty = 0; faulty < 1U << moves.rows; ++faulty) {
            double sum = 0.0;
            for (const Explanation& one : stories(moves, faulty)) sum += std::exp(one.prior);
            // Of all rows faulty and all moved, "followed" and "stayed" are one pattern; the priors still count both.
            EXPECT_NEAR(sum, 1.0, 1e-12) << moves.rows << " rows, faulty " << faulty;
        }
}

TEST(SwapStories, EveryVerdictIsAsLikely) {
    std::array<double, kStories> share{};
    for (const Explanation& one : stories(ring(), 0b01001U))
        share[static_cast<std::size_t>(one.story)] += std::exp(one.prior);
    for (const Story story : {Story::followed, Story::stayed, Story::vanished, Story::other})
        EXPECT_NEAR(share[static_cast<std::size_t>(story)], 0.25, 1e-12);
}

TEST(SwapStories, OtherIsNeverWhatAnotherVerdictWouldBe) {
    const std::vector<std::uint32_t> told = told_patterns(ring(), 0b01001U);
    EXPECT_EQ(told, (std::vector<std::uint32_t>{0U, 0b01001U, 0b01010U}));
    int others = 0;
    for (const Explanation& one : stories(ring(), 0b01001U)) {
        if (one.story == Story::followed) {
            EXPECT_EQ(pattern(one), 0b01010U);
        }
        if (one.story == Story::stayed) {
            EXPECT_EQ(pattern(one), 0b01001U);
        }
        if (one.story != Story::other || one.free) continue;
        ++others;
        EXPECT_EQ(std::count(told.begin(), told.end(), pattern(one)), 0) << pattern(one);
    }
    EXPECT_GE(others, 4);
}

}  // namespace
}  // namespace kurbel::swap
