// Which lines the table has.
#include "kurbel/study/cylinder_table.hpp"

#include <gtest/gtest.h>

namespace {

using namespace kurbel;

Event event_of(int cylinder, Verdict verdict, std::array<std::int32_t, 2> candidates = {}) {
    Event event;
    event.cylinder = cylinder;
    event.candidates = candidates;
    event.verdict = verdict;
    return event;
}

TEST(CylinderTable, EachCylinderHasALine) {
    Tally tally;
    tally.add(event_of(2, Verdict::misfire));
    const CylinderTable table = cylinder_table(tally, 3);
    ASSERT_EQ(table.lines.size(), 3U);
    EXPECT_EQ(table.lines[1].rate, 1.0);
    EXPECT_EQ(table.lines[2].counts.cylinder, 3);
    EXPECT_TRUE(table.lines[2].rate != table.lines[2].rate);
}

TEST(CylinderTable, PairsAloneWhereNothingElseIsKnown) {
    Tally tally;
    tally.add(event_of(0, Verdict::fired, {2, 3}));
    tally.add(event_of(0, Verdict::unjudged, {1, 4}));
    const CylinderTable table = cylinder_table(tally, 4);
    ASSERT_EQ(table.lines.size(), 2U);
    EXPECT_EQ(table.lines[0].counts.candidates[1], 4);
    EXPECT_EQ(table.lines[1].counts.candidates[0], 2);
    EXPECT_EQ(table.unplaced, 0);
}

TEST(CylinderTable, UnjudgedPairsBeforeThePhaseWasKnownHaveNoLine) {
    Tally tally;
    tally.add(event_of(0, Verdict::unjudged, {1, 4}));
    tally.add(event_of(0, Verdict::unjudged));
    tally.add(event_of(1, Verdict::fired));
    const CylinderTable table = cylinder_table(tally, 4);
    EXPECT_EQ(table.lines.size(), 4U);
    EXPECT_EQ(table.unplaced, 2);
}

TEST(CylinderTable, JudgedPairsStayBesideKnownCylinders) {
    Tally tally;
    tally.add(event_of(0, Verdict::fired, {1, 4}));
    tally.add(event_of(1, Verdict::fired));
    const CylinderTable table = cylinder_table(tally, 4);
    ASSERT_EQ(table.lines.size(), 5U);
    EXPECT_EQ(table.lines[4].counts.candidates[0], 1);
}

// A healthy cylinder of which one firing was called at a probability of 0.8, and a dead one of which one passed at 0.3.
TEST(CylinderTable, DoubtfulVerdictsWidenTheInterval) {
    Tally tally;
    for (int n = 0; n < 200; ++n) {
        Event sure = event_of(1, n == 7 ? Verdict::misfire : Verdict::fired);
        sure.probability = n == 7 ? 1.0 : 0.0;
        tally.add(sure);
        Event healthy = event_of(2, n == 7 ? Verdict::misfire : Verdict::fired);
        healthy.probability = n == 7 ? 0.8 : 1e-6;
        tally.add(healthy);
        Event dead = event_of(3, n == 7 ? Verdict::fired : Verdict::misfire);
        dead.probability = n == 7 ? 0.3 : 1.0 - 1e-6;
        tally.add(dead);
        tally.add(event_of(4, n == 7 ? Verdict::misfire : Verdict::fired));  // no probability known
    }
    const CylinderTable table = cylinder_table(tally, 4);
    const Interval counts = exact_interval(1, 200);
    for (const std::size_t certain : {0U, 3U}) {
        EXPECT_EQ(table.lines[certain].interval.low, counts.low);
        EXPECT_EQ(table.lines[certain].interval.high, counts.high);
    }
    EXPECT_EQ(table.lines[1].rate, 1.0 / 200.0);
    EXPECT_EQ(table.lines[1].interval.low, 0.0);
    EXPECT_EQ(table.lines[1].interval.high, counts.high);
    EXPECT_EQ(table.lines[2].interval.low, exact_interval(199, 200).low);
    EXPECT_EQ(table.lines[2].interval.high, 1.0);
}

TEST(CylinderTable, EmptyTally) { EXPECT_EQ(cylinder_table(Tally{}, 4).lines.size(), 4U); }

}  // namespace
