// A slice of the detection table (bench/detection), short enough for every test run: engines drawn by seed, default settings.
#include <gtest/gtest.h>

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "../../bench/detection/cell.hpp"
#include "../../bench/detection/draw.hpp"
#include "../../bench/detection/outcome.hpp"
#include "../../bench/detection/scenario_text.hpp"
#include "../../bench/detection/table.hpp"
#include "kurbel/simulate/scenario_file.hpp"

namespace {

using namespace kurbel_detection;

constexpr std::uint64_t kDraw = 71;
constexpr int kFirings = 4000;

/// The largest count that still agrees with a true rate of at most `rate`: more would come with a chance below 0.1 %.
std::int64_t most_of(std::int64_t trials, double rate) {
    std::int64_t count = 0;
    while (kurbel::exact_interval(count + 1, trials, 0.998).low <= rate) ++count;
    return count;
}

/// A slice through speeds, loads and patterns. It guards what holds; which cells of the whole table do not is for the table to say.
const Cell kSlice[] = {{4, Load::neutral, 800, Pattern::random}, {4, Load::neutral, 3000, Pattern::dead},
                       {4, Load::low, 800, Pattern::dead},       {4, Load::low, 6000, Pattern::random},
                       {5, Load::neutral, 800, Pattern::dead},   {5, Load::neutral, 6000, Pattern::random},
                       {5, Load::low, 3000, Pattern::random},    {5, Load::low, 3000, Pattern::dead}};

std::string name_of(const ::testing::TestParamInfo<Cell>& info) {
    std::string text = name(info.param);
    for (char& letter : text)
        if (letter == ' ' || letter == '-') letter = '_';
    return text;
}

class CellSlice : public ::testing::TestWithParam<Cell> {};

TEST_P(CellSlice, MeetsTheTargetAndIsNoWorseThanTheClassic) {
    const Cell cell = GetParam();
    const Outcome outcome = run(cell, draw_scenario(cell, kDraw, kFirings));
    SCOPED_TRACE(table_header() + table_row(outcome));
    ASSERT_FALSE(outcome.stalled);
    const kurbel::Score& ours = outcome.ours;
    // Enough ran to show something.
    const int z = cell.cylinders;
    EXPECT_GE(ours.missed.of, cell.pattern == Pattern::dead ? kFirings / z - 20 : 40);
    EXPECT_GE(ours.false_alarms.of, kFirings * (z - 1) / z - 150);
    // The first cycles are not judged. In a run as short as this they weigh more than the target allows, so they have a bound of
    // their own.
    EXPECT_LE(ours.missed_unjudged.count + ours.healthy_unjudged, 6 * z);
    const std::int64_t missed = ours.missed.count - ours.missed_unjudged.count;
    EXPECT_LE(missed, most_of(ours.missed.of - ours.missed_unjudged.count, kMostMissed));
    EXPECT_LE(ours.false_alarms.count, most_of(ours.false_alarms.of, kMostFalseAlarms));
    EXPECT_EQ(ours.wrong_cylinder.count, 0);
    EXPECT_EQ(ours.misnamed.count, 0);
    EXPECT_EQ(ours.surplus_called, 0);
    // Although the classic's threshold was found with the truth: its rate must not lie below what ours can be.
    const kurbel::Share judged{missed, ours.missed.of - ours.missed_unjudged.count};
    EXPECT_LE(judged.interval().low, outcome.classic_missed.interval().high);
}

INSTANTIATE_TEST_SUITE_P(Drawn, CellSlice, ::testing::ValuesIn(kSlice), name_of);

TEST(CellBounds, AllowWhatChanceAllows) {
    // Binomial tails by hand: 0 of 40 at 0.1 % is beaten with chance 3.9 %, two or more come with chance 7.6e-4.
    EXPECT_EQ(most_of(40, 0.001), 1);
    // 3000 at 1 %: mean 30, standard deviation 5.4; a bound three and some standard deviations up.
    EXPECT_GE(most_of(3000, 0.01), 45);
    EXPECT_LE(most_of(3000, 0.01), 50);
}

// A drawn scenario written out and read back is the same engine, down to the last tick.
TEST(DrawnScenario, SurvivesItsFile) {
    const auto file = std::filesystem::path(::testing::TempDir()) / "kurbel_drawn_scenario.toml";
    for (const Cell cell : {Cell{4, Load::neutral, 800, Pattern::random}, Cell{5, Load::mid, 3000, Pattern::dead}}) {
        const kurbel::simulate::Scenario drawn = draw_scenario(cell, kDraw, 100);
        std::ofstream(file) << scenario_text(drawn);
        const kurbel::read::Recording one = kurbel::simulate::simulate(drawn);
        const kurbel::read::Recording two = kurbel::simulate::simulate(kurbel::simulate::read_scenario(file.string()));
        EXPECT_GT(one.tick.size(), 1500U);
        EXPECT_EQ(one.tick, two.tick);
        EXPECT_EQ(one.channels.size(), two.channels.size());
        ASSERT_EQ(one.truth.size(), two.truth.size());
        for (std::size_t i = 0; i < one.truth.size(); ++i) {
            EXPECT_EQ(one.truth[i].severity, two.truth[i].severity);
            EXPECT_EQ(one.truth[i].work_j, two.truth[i].work_j);
        }
    }
    std::filesystem::remove(file);
}

// What the classic is granted: the lowest threshold within the allowed false alarms, found with the truth.
TEST(BestThreshold, IsTheLowestOneAllowed) {
    std::vector<kurbel::Event> events(5000);
    std::vector<kurbel::read::TruthRow> truth(events.size());
    for (std::size_t i = 0; i < events.size(); ++i) {
        truth[i] = {0.1 * static_cast<double>(i), 1, 0.0, false, kurbel::kUnknown, kurbel::kUnknown};
        events[i].time_s = truth[i].time_s;
        events[i].cylinder = 1;
        events[i].severity = 0.0;
    }
    // Ten misfires of rising size among 4990 healthy firings, six of which look like misfires: four may be accused.
    for (std::size_t i = 0; i < 10; ++i) {
        truth[100 * i + 50].severity = 1.0;
        events[100 * i + 50].severity = 0.1 * static_cast<double>(i) + 0.05;
    }
    for (std::size_t i = 0; i < 6; ++i) events[100 * i + 70].severity = 0.1 * static_cast<double>(i + 1);
    const kurbel::Score best = detail::best_score(events, truth, {&kurbel::Event::severity, 0});
    EXPECT_EQ(best.false_alarms.count, 4);
    EXPECT_EQ(best.false_alarms.of, 4990);
    // 0.3 is allowed, so that 0.25 is the lowest misfire called; 0.05 and 0.15 stay below 0.2, the fifth one.
    EXPECT_EQ(best.missed.count, 2);
    EXPECT_EQ(best.missed.of, 10);
}

// Names, sizes and draws: nothing depends on which other cells run.
TEST(Cells, EveryCombinationThatMakesSenseDrawnByItsName) {
    const std::vector<Cell> cells = all_cells();
    EXPECT_EQ(cells.size(), 56U);
    EXPECT_EQ(name(cells.front()), "I4 neutral 800 random");
    for (const Cell& cell : cells) {
        const kurbel::simulate::Scenario one = draw_scenario(cell, 3, 1000);
        EXPECT_EQ(scenario_text(one), scenario_text(draw_scenario(cell, 3, 1000)));
        EXPECT_NE(scenario_text(one), scenario_text(draw_scenario(cell, 4, 1000)));
        EXPECT_TRUE(kurbel::simulate::validate(one)) << name(cell);
    }
}

}  // namespace
