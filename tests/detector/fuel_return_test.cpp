// Fuel that was cut comes back: what the firings without it lost is known, and so those after them are judged at once.
#include <gtest/gtest.h>

#include <algorithm>
#include <vector>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel {
namespace {

simulate::Scenario driving(int cut_cylinder, double from_s, double to_s) {
    using namespace simulate::test;
    simulate::Scenario s = on_a_good_wheel(in_gear(inline_four(), 2000.0, 0.4), 8.0);
    s.fuel_cuts = {{cut_cylinder, from_s, to_s}};
    return s;
}

std::vector<Event> events_of(const simulate::Scenario& scenario) {
    const Result<read::Analysis> result = read::analyze(simulate::simulate(scenario), Settings{});
    EXPECT_TRUE(result.ok());
    return result.value.events;
}

bool is(const Event& event, Reason reason) { return event.verdict == Verdict::unjudged && event.reason == reason; }

TEST(FuelReturn, FiringsAreJudgedAtOnce) {
    const std::vector<Event> events = events_of(driving(0, 4.0, 5.0));
    const auto cut = [](const Event& event) { return is(event, Reason::fuel_cut); };
    const auto first_cut = std::find_if(events.begin(), events.end(), cut);
    ASSERT_NE(first_cut, events.end());
    const auto returned = std::find_if_not(first_cut, events.end(), cut);
    ASSERT_NE(returned, events.end());
    // A second of cut fuel at about 2000 rpm: some 60 firings, none of them called a misfire, and no second stretch of them.
    EXPECT_GT(returned - first_cut, 40);
    EXPECT_EQ(std::find_if(returned, events.end(), cut), events.end());
    // Those whose fuel may not have come in before the intake closed are left: one at 2000 rpm, or two.
    EXPECT_LT(returned->time_s, 5.0 + 2.0 * 0.015);

    ASSERT_GT(events.end() - returned, 60);
    for (auto event = returned; event != returned + 60; ++event)
        EXPECT_EQ(event->verdict, Verdict::fired) << event - returned << ": " << name(event->reason);
    // Before the cut everything was judged but the first cycles of all, and nothing is transient at any time.
    for (auto event = first_cut - 60; event != first_cut; ++event)
        EXPECT_EQ(event->verdict, Verdict::fired) << first_cut - event << " before: " << name(event->reason);
    EXPECT_EQ(std::count_if(events.begin(), events.end(), [](const Event& e) { return e.reason == Reason::transient; }),
              0);
}

TEST(FuelReturn, AMisfireSoonAfterIsFound) {
    simulate::Scenario s = driving(0, 4.0, 5.0);
    simulate::MisfireRule rule;
    rule.pattern = simulate::MisfirePattern::periodic;
    rule.every = 7;
    s.misfires = {rule};
    const simulate::Scenario& scenario = s;
    const read::Recording recording = simulate::simulate(scenario);
    const Result<read::Analysis> result = read::analyze(recording, Settings{});
    ASSERT_TRUE(result.ok());
    int lost = 0;
    int found = 0;
    for (const read::TruthRow& row : recording.truth) {
        if (row.fuel_cut || row.severity < 0.5 || row.time_s < 5.03 || row.time_s > 6.5) continue;
        ++lost;
        for (const Event& event : result.value.events)
            if (event.cylinder == row.cylinder && std::abs(event.time_s - row.time_s) < 0.005 &&
                event.verdict == Verdict::misfire)
                ++found;
    }
    EXPECT_GT(lost, 8);
    EXPECT_EQ(found, lost);
}

TEST(FuelReturn, OneCylinderWithoutFuelMakesAnotherEngine) {
    const std::vector<Event> events = events_of(driving(3, 4.0, 1e9));
    const auto first_cut =
        std::find_if(events.begin(), events.end(), [](const Event& event) { return is(event, Reason::fuel_cut); });
    ASSERT_NE(first_cut, events.end());
    ASSERT_GT(events.end() - first_cut, 200);
    int judged = 0;
    for (auto event = first_cut; event != events.end() - 8; ++event) {
        EXPECT_EQ(is(*event, Reason::fuel_cut), event->cylinder == 3) << event - first_cut;
        EXPECT_NE(event->verdict, Verdict::misfire) << event - first_cut;
        // Learned anew within some cycles, then judged with what is usual with three cylinders.
        if (event - first_cut > 160 && event->cylinder != 3) {
            EXPECT_EQ(event->verdict, Verdict::fired) << event - first_cut << ": " << name(event->reason);
            ++judged;
        }
    }
    EXPECT_GT(judged, 40);
}

}  // namespace
}  // namespace kurbel
