// Matching of events with the truth, and what each pair counts as.
#include "kurbel/study/score.hpp"

#include <gtest/gtest.h>

namespace {

using namespace kurbel;
using kurbel::read::TruthRow;

constexpr double kInterval = 0.04;

/// A healthy four-cylinder run: 1-3-4-2, one firing each 40 ms, and events that agree with it.
struct Drive {
    std::vector<TruthRow> truth;
    std::vector<Event> events;

    explicit Drive(int firings = 40) {
        constexpr std::array<int, 4> kOrder{1, 3, 4, 2};
        for (int i = 0; i < firings; ++i) {
            TruthRow row;
            row.time_s = kInterval * i;
            row.cylinder = kOrder[static_cast<std::size_t>(i % 4)];
            row.severity = 0.0;
            truth.push_back(row);
            Event event;
            event.time_s = row.time_s + 0.001;
            event.cylinder = row.cylinder;
            event.verdict = Verdict::fired;
            events.push_back(event);
        }
    }
    void lose(std::size_t i, double severity = 1.0) { truth[i].severity = severity; }
    void call(std::size_t i) { events[i].verdict = Verdict::misfire; }
    void leave(std::size_t i, Reason reason) {
        events[i].verdict = Verdict::unjudged;
        events[i].reason = reason;
    }
};

TEST(Score, AllRight) {
    Drive run;
    run.lose(7);
    run.call(7);
    const Score result = score(run.events, run.truth);
    EXPECT_EQ(result.matched, 40);
    EXPECT_EQ(result.missed.count, 0);
    EXPECT_EQ(result.missed.of, 1);
    EXPECT_EQ(result.false_alarms.count, 0);
    EXPECT_EQ(result.false_alarms.of, 39);
    EXPECT_EQ(result.wrong_cylinder.of, 1);
    EXPECT_EQ(result.wrong_cylinder.count, 0);
    EXPECT_EQ(result.misnamed.of, 40);
    EXPECT_EQ(result.surplus + result.absent, 0);
}

TEST(Score, MissesAndFalseAlarms) {
    Drive run;
    run.lose(7);
    run.lose(9, 0.5);
    run.call(9);
    run.call(20);
    const Score result = score(run.events, run.truth);
    EXPECT_EQ(result.missed.count, 1);
    EXPECT_EQ(result.missed.of, 2);
    EXPECT_EQ(result.false_alarms.count, 1);
    EXPECT_EQ(result.false_alarms.of, 38);
    EXPECT_NEAR(result.missed.interval().low, 0.01258, 1e-4) << "1 of 2: 1 - sqrt(0.975)";
}

TEST(Score, UnjudgedMisfireIsMissedUnlessExcused) {
    Drive run;
    for (const std::size_t i : {4U, 8U, 12U}) run.lose(i);
    run.leave(4, Reason::learning);
    run.leave(8, Reason::fuel_cut);
    run.leave(12, Reason::cranking);
    run.leave(20, Reason::transient);
    const Score result = score(run.events, run.truth);
    EXPECT_EQ(result.missed.count, 1);
    EXPECT_EQ(result.missed.of, 1);
    EXPECT_EQ(result.missed_unjudged.count, 1);
    EXPECT_EQ(result.excused, 2);
    EXPECT_EQ(result.healthy_unjudged, 1);
    EXPECT_EQ(result.false_alarms.of, 36);
}

TEST(Score, PartialFuelCutAndUnlabelledAreNeither) {
    Drive run;
    run.lose(5, 0.3);
    run.call(5);
    run.truth[6].fuel_cut = true;
    run.truth[6].severity = 1.0;
    run.call(6);
    run.truth[7].severity = kUnknown;
    const Score result = score(run.events, run.truth);
    EXPECT_EQ(result.partial_called.count, 1);
    EXPECT_EQ(result.partial_called.of, 1);
    EXPECT_EQ(result.fuel_cut_firings, 1);
    EXPECT_EQ(result.fuel_cut_called, 1);
    EXPECT_EQ(result.unlabelled, 1);
    EXPECT_EQ(result.missed.of, 0);
    EXPECT_EQ(result.false_alarms.of, 37);
    EXPECT_EQ(result.false_alarms.count, 0);
}

TEST(Score, WrongCylinderAndCandidates) {
    Drive run;
    run.lose(8);
    run.call(8);
    run.events[8].cylinder = 4;
    run.lose(12);
    run.call(12);
    run.events[12].cylinder = 0;
    run.events[12].candidates = {1, 4};
    run.lose(13);
    run.call(13);
    run.events[13].cylinder = 0;
    run.events[13].candidates = {1, 4};
    const Score result = score(run.events, run.truth);
    EXPECT_EQ(result.missed.count, 0);
    EXPECT_EQ(result.wrong_cylinder.count, 2) << "firing 12 is of cylinder 1, firing 13 of cylinder 3";
    EXPECT_EQ(result.wrong_cylinder.of, 3);
    EXPECT_EQ(result.misnamed.count, 2);
}

TEST(Score, SurplusAndAbsentEvents) {
    Drive run;
    run.lose(10);
    run.events.erase(run.events.begin() + 10);
    run.events.erase(run.events.begin(), run.events.begin() + 2);
    Event between;
    between.time_s = kInterval * 20.5;
    between.cylinder = 1;
    between.verdict = Verdict::misfire;
    run.events.insert(run.events.begin() + 18, between);
    const Score result = score(run.events, run.truth);
    EXPECT_EQ(result.absent, 3);
    EXPECT_EQ(result.absent_at_ends, 2);
    EXPECT_EQ(result.missed.count, 1);
    EXPECT_EQ(result.missed_absent.count, 1);
    EXPECT_EQ(result.surplus, 1);
    EXPECT_EQ(result.surplus_called, 1);
    EXPECT_EQ(result.false_alarms.count, 0) << "a surplus event is no firing";
}

TEST(Score, QuarterOfAnInterval) {
    Drive run(3);
    run.events[1].time_s = run.truth[1].time_s + 0.24 * kInterval;
    EXPECT_EQ(score(run.events, run.truth).matched, 3);
    run.events[1].time_s = run.truth[1].time_s + 0.26 * kInterval;
    EXPECT_EQ(score(run.events, run.truth).matched, 2);
}

TEST(Score, NearerEventHasTheFiring) {
    Drive run(5);
    Event twin = run.events[2];
    twin.time_s = run.truth[2].time_s - 0.005;
    twin.verdict = Verdict::misfire;
    run.events.insert(run.events.begin() + 2, twin);
    const Score result = score(run.events, run.truth);
    EXPECT_EQ(result.matched, 5);
    EXPECT_EQ(result.surplus, 1);
    EXPECT_EQ(result.surplus_called, 1) << "the one 5 ms away yields to the one 1 ms away";
}

TEST(Score, NothingAtAll) {
    const Score result = score({}, {});
    EXPECT_EQ(result.matched, 0);
    EXPECT_TRUE(result.missed.rate() != result.missed.rate());
    EXPECT_EQ(score({}, Drive(4).truth).absent, 4);
    EXPECT_EQ(score(Drive(4).events, {}).surplus, 4);
}

}  // namespace
