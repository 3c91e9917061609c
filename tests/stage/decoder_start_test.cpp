// The teeth before the first recognised gap: placed backwards, or not at all.
#include <gtest/gtest.h>

#include "stage/named_wheels.hpp"
#include "stage/wheel_edges.hpp"

namespace kurbel::test {
namespace {

struct StartWheel : NamedWheel {
    bool repeats = false;  ///< within a revolution: the cam tells the place
};

/// Of every kind in facts.md section 8 (common practice, no source).
std::vector<StartWheel> start_wheels() {
    std::vector<StartWheel> all;
    for (const NamedWheel& wheel : gap_wheels()) all.push_back({wheel, false});
    const auto add = [&all](const char* name, const WheelConfig& wheel, bool repeats) {
        all.push_back({{name, wheel}, repeats});
    };
    add("24 coded teeth", coded_wheel(), false);
    add("three unequal vanes", listed_wheel({0.0, 100.0, 220.0}), false);
    add("one tooth", even_wheel(1, {}), false);
    add("ring gear of 135", even_wheel(135, {}), true);
    add("four even lugs", even_wheel(4, {}), true);
    add("120-2 twice", even_wheel(120, {58, 59, 118, 119}), true);
    return all;
}

/// The edges from `first` on.
std::vector<WheelEdge> later(const std::vector<WheelEdge>& edges, std::size_t first) {
    return {edges.begin() + static_cast<std::ptrdiff_t>(first), edges.end()};
}

/// Teeth in `part` that are in `whole` with another place, or another phase where both know it. `missing`: those edges from
/// `begin_tick` on that only `whole` has.
struct Difference {
    int other = 0;
    int missing = 0;
    int unknown_phase = 0;  ///< teeth of `part` that do not know theirs
};

Difference compare(const Outcome& whole, const Outcome& part, std::int64_t begin_tick) {
    std::map<std::int64_t, Tooth> known;
    for (const Tooth& tooth : part.teeth) known[tooth.tick] = tooth;
    Difference difference;
    for (const Tooth& tooth : whole.teeth) {
        if (tooth.tick < begin_tick) continue;
        const auto found = known.find(tooth.tick);
        if (found == known.end()) {
            ++difference.missing;
            continue;
        }
        const Tooth& again = found->second;
        if (again.index != tooth.index || (again.phase_known && again.half != tooth.half)) ++difference.other;
        if (!again.phase_known) ++difference.unknown_phase;
    }
    return difference;
}

WheelRun run_on(const WheelConfig& wheel, const std::function<double(double)>& speed_deg_s, double revolutions = 9.0) {
    WheelRun run;
    run.config = car(wheel);
    run.speed_deg_s = speed_deg_s;
    run.revolutions = revolutions;
    return run;
}

TEST(DecoderStart, EveryToothFromTheFirstEdgeOnAsWithALongerHistory) {
    for (const StartWheel& kind : start_wheels())
        for (const std::function<double(double)>& speed : std::initializer_list<std::function<double(double)>>{
                 steady(800.0), swinging(700.0, 0.08, 2.0), accelerating(700.0, 100.0)}) {
            const WheelRun run = run_on(kind.wheel, speed);
            const std::vector<WheelEdge> edges = make_edges(run);
            const Outcome whole = decode(run.config, edges);
            ASSERT_EQ(whole.wrong_index, 0) << kind.name;
            // Each tooth of a cycle as the first, well behind the start of the long history.
            const std::size_t from = edges.size() / 3;
            const std::size_t step = kind.wheel.teeth > 60 ? 7 : 1;
            for (std::size_t first = from; first < from + static_cast<std::size_t>(2 * kind.wheel.teeth);
                 first += step) {
                const std::vector<WheelEdge> rest = later(edges, first);
                const Outcome part = decode(run.config, rest);
                const Difference difference = compare(whole, part, rest.front().tick);
                SCOPED_TRACE(std::string(kind.name) + " from edge " + std::to_string(first));
                EXPECT_EQ(difference.missing, 0);
                EXPECT_EQ(difference.other, 0);
                EXPECT_EQ(part.wrong_half, 0);
                EXPECT_EQ(part.wrong_revolution, 0);
                EXPECT_EQ(part.restarts, 1);
                EXPECT_EQ(part.sync.losses, 0);
                // The cam is once a cycle: teeth that came out before it cannot know, those that waited with it do.
                EXPECT_LE(difference.unknown_phase, kind.repeats ? 0 : 2 * kind.wheel.teeth + 2);
                if (HasFailure()) return;
            }
        }
}

TEST(DecoderStart, ACamEdgeBeforeTheGapTellsThePhaseOfTheFirstTooth) {
    // From 20 degrees before the cam edge, the gap 250 degrees later.
    WheelRun run = run_on(even_wheel(60, {58, 59}), steady(900.0));
    run.start_deg = 84.0 + 50.0 - 20.0;
    const Outcome outcome = decode(run.config, make_edges(run));
    ASSERT_FALSE(outcome.teeth.empty());
    EXPECT_EQ(outcome.teeth.front().index, 19);
    EXPECT_TRUE(outcome.teeth.front().phase_known);
    EXPECT_EQ(outcome.teeth.front().half, 0);
    EXPECT_EQ(outcome.wrong_half, 0);
    EXPECT_EQ(outcome.edges_to_phase, outcome.edges_to_sync);
}

/// The wheel has just been found, and a tooth is missed among those behind the gap: nothing but the gap looks like a gap.
TEST(DecoderStart, AToothMissedBehindTheFirstGapMovesNothing) {
    for (const NamedWheel& kind : gap_wheels()) {
        if (kind.wheel.teeth < 17) continue;  // on coarser wheels the place is not known as early
        for (const int behind : {3, 4, 5}) {
            WheelRun run = run_on(kind.wheel, steady(800.0), 12.0);
            run.start_deg = -1.0;
            run.missed = [&](int tooth, int revolution) { return tooth == behind && revolution == 1; };
            const Outcome outcome = decode(run.config, make_edges(run));
            SCOPED_TRACE(std::string(kind.name) + ", tooth " + std::to_string(behind));
            EXPECT_EQ(outcome.wrong_index, 0);
            EXPECT_EQ(outcome.wrong_revolution, 0);
            EXPECT_EQ(outcome.sync.losses, 0);
            EXPECT_EQ(outcome.sync.missed, 1);
            EXPECT_EQ(outcome.sync.extra, 0);
        }
    }
}

TEST(DecoderStart, AFaultyStoryIsNotPlaced) {
    // A tooth is missed or an edge added somewhere before the gap: what lies before that may be counted wrongly, so it is left.
    // A gap of three pitches, that no one missed tooth resembles.
    for (const WheelConfig& wheel : {even_wheel(60, {58, 59}), even_wheel(36, {34, 35})})
        for (const bool extra : {false, true})
            for (int at = 6; at < wheel.teeth - 6; ++at) {
                WheelRun run = run_on(wheel, swinging(800.0, 0.05, 2.0), 6.0);
                const double pitch_deg = static_cast<double>(wheel.angle_deg[1]);
                run.start_deg = 0.5 * pitch_deg;
                if (extra)
                    run.extra_deg = {pitch_deg * (at + 0.4)};
                else
                    run.missed = [at](int tooth, int revolution) { return tooth == at && revolution == 0; };
                const std::vector<WheelEdge> edges = make_edges(run);
                const Outcome outcome = decode(run.config, edges);
                SCOPED_TRACE(std::to_string(wheel.teeth) + (extra ? " teeth, extra at " : " teeth, missed at ") +
                             std::to_string(at));
                ASSERT_FALSE(outcome.teeth.empty());
                EXPECT_EQ(outcome.wrong_index, 0);
                // Behind the fault all teeth are there, before it none.
                EXPECT_GE(outcome.teeth.front().index, at);
                EXPECT_LE(outcome.teeth.front().index, at + 3);
                EXPECT_EQ(outcome.teeth.front().revolution, 0);
                if (HasFailure()) return;
            }
}

TEST(DecoderStart, WhatCameBeforeAStandstillIsNotPlaced) {
    // Ten teeth, a second of rest, then the engine starts: the ten are no part of that.
    WheelRun run = run_on(even_wheel(60, {58, 59}), accelerating(400.0, 150.0));
    run.start_deg = 100.0;
    std::vector<WheelEdge> edges = make_edges(run);
    const std::int64_t rest = edges[9].tick + 1;
    for (std::size_t i = 10; i < edges.size(); ++i) edges[i].tick += 1000000000;
    const Outcome outcome = decode(run.config, edges);
    ASSERT_FALSE(outcome.teeth.empty());
    EXPECT_GT(outcome.teeth.front().tick, rest);
    EXPECT_LE(outcome.teeth.front().tick, edges[14].tick);
    EXPECT_EQ(outcome.wrong_index, 0);
}

TEST(DecoderStart, AfterALossTheTeethSinceItAreGivenToo) {
    WheelRun run = run_on(even_wheel(60, {58, 59}), steady(900.0), 20.0);
    for (int i = 0; i < 60; ++i) run.extra_deg.push_back(8.0 * 360.0 + 3.0 * i + 1.7);  // half a revolution of noise
    const std::vector<WheelEdge> edges = make_edges(run);
    const Outcome outcome = decode(run.config, edges);
    ASSERT_GE(outcome.sync.losses, 1);
    // From a few edges behind the noise on, all teeth.
    std::map<std::int64_t, bool> given;
    for (const Tooth& tooth : outcome.teeth) given[tooth.tick] = true;
    const auto noise_ends = static_cast<std::int64_t>((8.0 * 360.0 + 181.7) / (6.0 * 900.0) * run.config.timer.hz);
    int behind = 0;
    int missing = 0;
    for (const WheelEdge& edge : edges) {
        if (edge.signal != Signal::crank || edge.tick < noise_ends || ++behind <= 8) continue;
        if (!given[edge.tick]) ++missing;
    }
    EXPECT_EQ(missing, 0);
    EXPECT_EQ(outcome.wrong_in_the_end, 0);
    EXPECT_EQ(outcome.wrong_half, 0);
}

TEST(DecoderStart, TheCrankMayStandForLongBeforeItIsTurned) {
    // More cam edges than a cycle has, and crank edges at random, before anything turns.
    std::mt19937 random(4);
    std::uniform_real_distribution<double> uniform(0.0, 1.0);
    WheelRun run = run_on(even_wheel(36, {35}), accelerating(300.0, 80.0), 12.0);
    run.start_deg = 55.0;
    std::vector<WheelEdge> edges;
    for (int i = 0; i < 100; ++i) {
        const auto tick = static_cast<std::int64_t>((0.3 * i + 0.2 * uniform(random)) * 1.0e9);
        edges.push_back({tick, i % 3 == 0 ? Signal::crank : Signal::cam, -1, 0});
    }
    const std::int64_t turned_at = 32000000000;
    for (WheelEdge edge : make_edges(run)) {
        edge.tick += turned_at;
        edges.push_back(edge);
    }
    const Outcome outcome = decode(run.config, edges);
    ASSERT_FALSE(outcome.teeth.empty());
    EXPECT_GE(outcome.teeth.front().tick, turned_at);
    EXPECT_EQ(outcome.wrong_index, 0);
    EXPECT_EQ(outcome.wrong_half, 0);
}

}  // namespace
}  // namespace kurbel::test
