// A slice of the detection table (bench/detection), short enough for every test run: engines drawn by seed, default settings.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdint>
#include <set>
#include <string>

#include "cell.hpp"
#include "outcome.hpp"
#include "table.hpp"

namespace {

using namespace kurbel_detection;

RunOptions small() {
    RunOptions options;
    options.datasets = KURBEL_DATASETS;
    options.seed = 71;
    options.amount = {60, 1800, 1, 240.0};
    return options;
}

const Cell& cell_named(const std::string& name) {
    for (const Cell& cell : all_cells())
        if (cell.name == name) return cell;
    throw std::out_of_range(name);
}

/// The largest count that still agrees with a true rate of at most `rate`: more would come with a chance below 0.1 %.
std::int64_t most_of(std::int64_t trials, double rate) {
    std::int64_t count = 0;
    while (kurbel::exact_interval(count + 1, trials, 0.998).low <= rate) ++count;
    return count;
}

std::string name_of(const ::testing::TestParamInfo<const char*>& cell) {
    std::string text = cell.param;
    std::replace(text.begin(), text.end(), '-', '_');
    return text;
}

class Slice : public ::testing::TestWithParam<const char*> {};

// It guards what holds; which cells of the whole table do not is for the table to say.
TEST_P(Slice, HoldsWhatIsPromised) {
    const Cell& cell = cell_named(GetParam());
    const Outcome outcome = run(cell, small());
    SCOPED_TRACE(progress_line(outcome));
    ASSERT_EQ(outcome.error, "");
    EXPECT_GE(outcome.engines, 1);
    EXPECT_GE(outcome.false_alarms.of, 1800);
    const Limits limits = limits_of(cell.kind);
    EXPECT_LE(outcome.false_alarms.count, most_of(outcome.false_alarms.of, limits.false_alarms));
    EXPECT_LE(outcome.wrong_cylinder.count, 1);
    EXPECT_LE(outcome.unjudged.rate(), 0.03);
    if (cell.kind == Kind::healthy) {
        EXPECT_EQ(outcome.missed.of, 0);
        return;
    }
    EXPECT_GE(outcome.missed.of + outcome.excused, 60);
    EXPECT_LE(outcome.missed.count, most_of(outcome.missed.of, limits.missed));
    // Although the classic's threshold was found with the truth: its rate must not lie below what ours can be.
    EXPECT_LE(outcome.missed.interval().low, outcome.rivals[kClassic].missed.interval().high);
    EXPECT_GE(outcome.auc, 0.99);
    EXPECT_GT(outcome.delay_median, 1.0);
    EXPECT_LE(outcome.delay_longest, 10.0 * 8 + 1.0);
}

INSTANTIATE_TEST_SUITE_P(Table, Slice,
                         ::testing::Values("pattern-random-05", "pattern-dead", "pattern-bursts",
                                           "layout-v8-crossplane", "layout-inline6-dead", "speed-6000-load-050",
                                           "speed-6000-load-020-inline5", "wheel-12-1", "transient-tip-in",
                                           "healthy-spread-08"),
                         name_of);

TEST(Cells, HaveNamesOfTheirOwnAndMoreThanEightyArePromised) {
    std::set<std::string> names;
    std::size_t promised = 0;
    for (const Cell& cell : all_cells()) {
        EXPECT_TRUE(names.insert(cell.name).second) << cell.name;
        if (cell.kind != Kind::beyond) ++promised;
    }
    EXPECT_GE(promised, 80U);
}

// Every cell's file and changes make a scenario that runs.
TEST(Cells, CanAllBeDrawn) {
    const RunOptions options = small();
    for (const Cell& cell : all_cells()) {
        const Scenario scenario = draw_scenario(cell, options.datasets, options.amount, 5, 0);
        const kurbel::Status status = kurbel::simulate::validate(scenario);
        EXPECT_TRUE(status.ok()) << cell.name << ": " << status.parameter << " " << status.why;
        EXPECT_EQ(scenario.misfires.empty(), cell.kind == Kind::healthy) << cell.name;
    }
}

// What a method with a free threshold is granted: the lowest one within the allowed false alarms.
TEST(BestThreshold, IsTheLowestOneAllowed) {
    Pool pool;
    for (int i = 0; i < 990; ++i) pool.healthy.push_back(0.0);
    for (int i = 1; i <= 10; ++i) pool.healthy.push_back(0.1 * i);
    for (int i = 0; i < 10; ++i) pool.misfires.push_back(0.1 * i + 0.05);
    // Four of a thousand: 0.6 is the lowest limit that leaves only 0.7 to 1.0 above it; 0.05 to 0.55 stay below.
    EXPECT_EQ(best_missed(pool, 0.004).count, 6);
    EXPECT_EQ(best_missed(pool, 0.004).of, 10);
    EXPECT_EQ(best_missed(pool, 0.0).count, 10);
}

}  // namespace
