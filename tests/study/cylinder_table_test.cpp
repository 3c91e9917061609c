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

TEST(CylinderTable, EmptyTally) { EXPECT_EQ(cylinder_table(Tally{}, 4).lines.size(), 4U); }

}  // namespace
