// What is said of the first cycles, while the engine is not known yet: it is said later, but for good.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel {
namespace {

struct Judged {
    read::Recording recording;
    std::vector<Event> events;
};

Judged judged(const simulate::Scenario& s) {
    Judged judged{simulate::simulate(s), {}};
    const Result<read::Analysis> result = read::analyze(judged.recording, Settings{});
    EXPECT_TRUE(result.ok());
    judged.events = result.value.events;
    return judged;
}

/// An engine in gear whose misfires follow `rule`, from the first edge of the recording on.
Judged run(const simulate::MisfireRule& rule, std::uint64_t seed,
           const simulate::Scenario& engine = simulate::test::inline_four()) {
    using namespace simulate::test;
    simulate::Scenario s = on_a_good_wheel(in_gear(engine, 2000.0, 0.4), 6.0);
    s.seed = seed;
    s.misfires = {rule};
    return judged(s);
}

/// Each firing of these cylinders, of all where none is named, is lost with this chance.
simulate::MisfireRule losing(double rate, std::vector<int> cylinders = {}) {
    simulate::MisfireRule rule;
    rule.pattern = simulate::MisfirePattern::random;
    rule.cylinders = std::move(cylinders);
    rule.rate = rate;
    return rule;
}

const Event* event_of(const std::vector<Event>& events, const read::TruthRow& row) {
    const auto found = std::find_if(events.begin(), events.end(), [&](const Event& event) {
        return event.cylinder == row.cylinder && std::fabs(event.time_s - row.time_s) < 0.005;
    });
    return found == events.end() ? nullptr : &*found;
}

/// What became of the firings between two times.
struct Counts {
    int lost = 0;   ///< misfires
    int found = 0;  ///< of them
    int healthy = 0;
    int called = 0;  ///< of the healthy
};

/// From the second revolution on to `to_s`; before, the gap has to pass.
void count(const Judged& r, double to_s, Counts& counts) {
    for (const read::TruthRow& row : r.recording.truth) {
        if (row.time_s < 0.06 || row.time_s > to_s) continue;
        const Event* event = event_of(r.events, row);
        ASSERT_NE(event, nullptr) << row.time_s;
        const bool misfire = event->verdict == Verdict::misfire;
        const bool lost = row.severity >= 0.5;
        ++(lost ? counts.lost : counts.healthy);
        if (misfire) ++(lost ? counts.found : counts.called);
    }
}

TEST(FirstCycles, AreJudgedByWhatTheEngineTurnsOutToBe) {
    simulate::MisfireRule rule;
    rule.pattern = simulate::MisfirePattern::periodic;
    rule.every = 7;
    Counts counts;
    for (const std::uint64_t seed : {1U, 2U, 3U, 4U, 5U}) {
        const Judged r = run(rule, seed);
        for (const Event& event : r.events) EXPECT_NE(event.reason, Reason::learning) << event.time_s;
        count(r, 0.4, counts);
    }
    EXPECT_GE(counts.lost, 10);
    EXPECT_GE(counts.found, counts.lost - 1);
    EXPECT_EQ(counts.called, 0);
}

TEST(FirstCycles, TheFirstFiringIsJudgedThoughItsWindowBeginsBeforeTheStream) {
    // A window reaches 90 degrees back. Half of all streams of a four begin nearer to their first TDC than that.
    int first = 0;
    int found = 0;
    int called = 0;
    for (std::uint64_t seed = 41; seed < 57; ++seed) {
        const Judged r = run(losing(1.0, {1, 4}), seed);
        const read::TruthRow& row = r.recording.truth.front();
        if (row.time_s < 0.003) continue;  // within its first bin there is nothing to see
        const Event* event = event_of(r.events, row);
        ASSERT_NE(event, nullptr) << seed;
        const bool misfire = event->verdict == Verdict::misfire;
        first += row.severity >= 0.5 ? 1 : 0;
        (row.severity >= 0.5 ? found : called) += misfire ? 1 : 0;
        EXPECT_NE(event->verdict, Verdict::unjudged) << seed << " " << row.time_s;
    }
    EXPECT_GE(first, 4);
    EXPECT_EQ(found, first);
    EXPECT_EQ(called, 0);
}

TEST(FirstCycles, WhatAFirstFiringLostMayHaveHappenedBeforeTheStream) {
    // Its charge was drawn before: of a cylinder that never loses one again, a single loss there accuses nobody.
    int within = 0;
    for (std::uint64_t seed = 41; seed < 57; ++seed) {
        simulate::MisfireRule rule = losing(1.0);
        rule.to_s = 0.006;
        const Judged r = run(rule, seed);
        const read::TruthRow& row = r.recording.truth.front();
        const Event* event = event_of(r.events, row);
        const bool begun = row.time_s > 0.003 && row.time_s < 0.006;  // its window reaches back 90 degrees, 7.5 ms
        if (row.severity < 0.5 || !begun || event == nullptr) continue;
        ++within;
        EXPECT_EQ(event->verdict, Verdict::unjudged) << seed;
        EXPECT_EQ(event->reason, Reason::no_sync) << seed;
    }
    EXPECT_GE(within, 2);
}

TEST(FirstCycles, ManyMisfiresInAllCylindersAreFound) {
    Counts counts;
    for (const std::uint64_t seed : {11U, 12U, 13U, 14U, 15U, 16U}) count(run(losing(0.15), seed), 1.5, counts);
    EXPECT_GE(counts.lost, 60);
    // With less than this known nobody could do without errors; looked at one by one, a quarter was missed.
    EXPECT_GE(counts.found, counts.lost - counts.lost / 10);
    EXPECT_LE(counts.called, counts.healthy / 100);
}

TEST(FirstCycles, ACylinderThatLosesMostOfItsFiringsIsNotDead) {
    // Eight cycles show it as missing half of its work or more on average; one engine in twenty was held to have a dead cylinder then,
    // and taught for good by what burned in it.
    Counts counts;
    for (const double rate : {0.5, 0.7, 0.8})
        for (std::uint64_t seed = 21; seed < 27; ++seed) count(run(losing(rate, {3}), seed), 5.5, counts);
    EXPECT_GE(counts.lost, 900);
    EXPECT_GE(counts.found, counts.lost - counts.lost / 200);
    EXPECT_LE(counts.called, counts.healthy / 5000);
}

TEST(FirstCycles, TwoOfThreeCylindersMayLoseEverySecondFiring) {
    Counts counts;
    for (std::uint64_t seed = 31; seed < 37; ++seed)
        count(run(losing(0.5, {1, 3}), seed, simulate::test::inline_engine({1, 3, 2})), 5.5, counts);
    EXPECT_GE(counts.lost, 400);
    EXPECT_GE(counts.found, counts.lost - counts.lost / 100);
    EXPECT_LE(counts.called, counts.healthy / 1000);
}

TEST(FirstCycles, FrequentMisfiresTellHowTheyShow) {
    // One firing in ten from the first cycle on, on soft cranks: each misfire stands in its neighbours' windows and in the pattern.
    Counts counts;
    for (const std::uint64_t number : {108008408924113ULL, 101ULL, 102ULL, 103ULL, 104ULL, 105ULL}) {
        simulate::Scenario s = simulate::read_scenario(KURBEL_DATASETS "/cells/layout-inline6.toml", number);
        s.seconds = 3.0;
        s.misfires = {losing(0.1)};
        count(judged(s), 2.9, counts);
    }
    EXPECT_GE(counts.lost, 100);
    EXPECT_GE(counts.found, counts.lost - 3);
    EXPECT_EQ(counts.called, 0);
}

TEST(FirstCycles, ACylinderThatWasDeadAtFirstIsBelievedToWorkAgain) {
    simulate::MisfireRule rule;
    rule.pattern = simulate::MisfirePattern::continuous;
    rule.cylinders = {2};
    rule.to_s = 1.0;
    const Judged r = run(rule, 7);
    int dead = 0;
    int called = 0;
    int later = 0;
    double drift = 0.0;
    for (const read::TruthRow& row : r.recording.truth) {
        const Event* event = event_of(r.events, row);
        if (row.cylinder != 2 || row.time_s < 0.1 || event == nullptr) continue;
        if (row.severity > 0.5) {
            ++dead;
            called += event->verdict == Verdict::misfire ? 1 : 0;
        } else if (row.time_s > 1.2 && row.time_s < 5.8) {
            ++later;
            EXPECT_EQ(event->verdict, Verdict::fired) << row.time_s;
            if (row.time_s > 3.0) drift = std::max(drift, std::fabs(event->severity));
        }
    }
    EXPECT_GE(dead, 12);
    EXPECT_EQ(called, dead);
    EXPECT_GE(later, 60);
    EXPECT_LT(drift, 0.4);  // of the work: nearer to "fired" than to anything else
}

}  // namespace
}  // namespace kurbel
