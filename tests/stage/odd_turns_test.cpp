// When a wheel that may be followed wrongly is looked for anew.
#include "kurbel/stage/odd_turns.hpp"

#include <gtest/gtest.h>

namespace kurbel::test {
namespace {

/// Revolutions until it is time to look, each with what is told.
int turns_until_a_look(decoding::OddTurns& odd, bool missed, bool extra, int most = 1000) {
    for (int turn = 1; turn <= most; ++turn) {
        if (missed) odd.missed();
        if (extra) odd.extra();
        if (odd.end_turn()) return turn;
    }
    return -1;
}

TEST(OddTurns, TwoRevolutionsWithBothFaultsAreLookedAt) {
    decoding::OddTurns odd;
    EXPECT_EQ(turns_until_a_look(odd, true, true), 2);
    odd.reset();
    EXPECT_EQ(turns_until_a_look(odd, true, false), -1);
    EXPECT_EQ(turns_until_a_look(odd, false, true), -1);
    odd.reset();
    odd.missed();
    odd.extra();
    EXPECT_FALSE(odd.end_turn());
    EXPECT_FALSE(odd.end_turn());  // a revolution without: it begins anew
    odd.missed();
    odd.extra();
    EXPECT_FALSE(odd.end_turn());
}

TEST(OddTurns, WhereTheLookFindsTheSameTheNextComesAfterTwiceAsMany) {
    decoding::OddTurns odd;
    for (const int patience : {2, 4, 8, 16, 32, 64, 128, 128}) {
        EXPECT_EQ(turns_until_a_look(odd, true, true), patience);
        odd.confirmed();
    }
    odd.reset();
    EXPECT_EQ(turns_until_a_look(odd, true, true), 2);
}

}  // namespace
}  // namespace kurbel::test
