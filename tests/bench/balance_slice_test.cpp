// A slice of what bench/studies measures of relative compression and of work per cylinder, short enough for every test run.
#include <gtest/gtest.h>

#include "cranking_table.hpp"
#include "work_table.hpp"

namespace {

using namespace kurbel_studies;

/// Fewest of `trials` that still agree with a true share of 95 %: fewer would come with a chance below 0.1 %. Cylinders of one engine
/// share its errors, so that only half of them count.
int fewest_of(int trials) {
    int inside = trials;
    while (inside > 0 && kurbel::exact_interval(inside - 1, trials, 0.998).high >= 0.95) --inside;
    return inside;
}

TEST(CrankingSlice, ReadsLeaksOfThreeToEightCylinders) {
    CrankingTable table(KURBEL_DATASETS, false);
    const std::uint64_t seed = 91;
    int number = 0;
    for (const char* engine : {"inline3", "inline4", "inline5", "v6-60", "v8-crossplane"})
        for (const bool fault : {true, false}) {
            table.one(
                draw_cranked(KURBEL_DATASETS, engine, number % 3, fault, seed + static_cast<std::uint64_t>(number)));
            ++number;
        }
    const CrankingFigures& all = table.all();
    ASSERT_GE(all.engines, 7);  // the others' starters do not turn them at 150 to 300 rpm
    EXPECT_EQ(all.refused, 0);
    EXPECT_EQ(all.wrong, 0);
    EXPECT_EQ(all.false_uneven, 0);
    EXPECT_GE(all.low.readings, 4);
    EXPECT_LE(all.all.rms(), 3.0);
    EXPECT_LE(all.low.rms(), 3.0);
    EXPECT_GE(all.all.inside, fewest_of(all.all.readings / 2) * 2);
}

TEST(WorkSlice, FindsTheWeakCylinderAndAccusesNoOther) {
    WorkTable table(KURBEL_DATASETS, 60.0, false);
    std::uint64_t seed = 17;
    for (const char* engine : {"inline3", "inline4", "inline6", "v8-flatplane"})
        table.one(draw_worked(KURBEL_DATASETS, engine, Running::idle, Balance::weak_5, 60.0, seed++));
    table.one(draw_worked(KURBEL_DATASETS, "inline5", Running::idle, Balance::even, 60.0, seed++));
    table.one(draw_worked(KURBEL_DATASETS, "boxer4", Running::varied, Balance::even, 60.0, seed++));
    const WorkFigures& all = table.row("all");
    EXPECT_EQ(all.refused, 0);
    EXPECT_EQ(all.weak, 4);
    EXPECT_GE(all.found, 3);
    EXPECT_EQ(all.accused, 0);
    EXPECT_GE(all.others.inside, fewest_of(all.others.readings / 2) * 2);
    EXPECT_GE(all.partner.inside, fewest_of(all.partner.readings / 2) * 2);
    EXPECT_GE(all.scatter.inside, fewest_of(all.scatter.readings / 2) * 2);
    EXPECT_LE(all.partner.rms(), 2.0);
    EXPECT_LE(all.scatter.rms(), 3.0);
}

}  // namespace
