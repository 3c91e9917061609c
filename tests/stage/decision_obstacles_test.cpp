// What stands in the way of a verdict: starters, fuel, phase, and losses of all cylinders at once.
#include "kurbel/stage/decision.hpp"

#include <gtest/gtest.h>

#include <limits>
#include <utility>

#include "stage/decision_firings.hpp"

namespace kurbel::test {
namespace {

/// 400 healthy firings at half of the charge, then 40 at `load` that all lost their work: how many were called, and what the last was.
std::pair<int, Judgement<double>> all_lost_at(double load) {
    Decision<double> decision = decision_of(4);
    for (int n = 0; n < 400; ++n) {
        Firing firing = firing_at(n % 4, 0.0);
        firing.load = 0.5;
        static_cast<void>(decision.judge(firing, false, false, false));
    }
    int called = 0;
    Judgement<double> last;
    for (int n = 0; n < 40; ++n) {
        Firing firing = firing_at(n % 4, 1.2);
        firing.load = load;
        last = decision.judge(firing, false, false, false);
        called += last.verdict == Verdict::misfire ? 1 : 0;
    }
    return {called, last};
}

TEST(Decision, WhatMostCylindersLoseAtOnceIsNoMisfireWhereTheFootMovedOrIsNotKnown) {
    for (const double load : {0.1, std::numeric_limits<double>::quiet_NaN()}) {
        const auto [called, last] = all_lost_at(load);
        EXPECT_EQ(last.reason, Reason::transient) << load;
        EXPECT_TRUE(last.feedback.learn) << load;
        EXPECT_LE(called, 8) << load;  // two cycles
    }
    // Ignition or fuel may fail all of them under a still foot.
    EXPECT_EQ(all_lost_at(0.5).first, 40);
    // Two cylinders of four may well misfire together, and two of three, wherever the foot is.
    for (const int cylinders : {4, 3}) {
        Decision<double> some = decision_of(cylinders);
        for (int n = 0; n < 800; ++n) {
            const bool lost = n >= 400 && n % cylinders < 2;
            Firing firing = firing_at(n % cylinders, lost ? 1.2 : 0.0);
            firing.load = std::numeric_limits<double>::quiet_NaN();
            const auto j = some.judge(firing, false, false, false);
            EXPECT_EQ(j.verdict, lost ? Verdict::misfire : Verdict::fired) << n << " of " << cylinders;
        }
    }
}

TEST(Decision, SaysTheFirstObstacleOfSeveral) {
    Decision<double> fresh = decision_of(2);
    Firing firing = firing_at(0, 0.3);
    firing.speed_rpm = 200.0;
    firing.cut = true;
    firing.complete = false;
    firing.changing = true;
    firing.known_variance = 1.0;  // so large that even a whole loss would stay below the limit
    bool learning = true;
    bool phase_missing = true;
    const auto reason = [&] {
        Decision<double> decision = fresh;
        const auto j = decision.judge(firing, learning, false, phase_missing);
        EXPECT_EQ(j.verdict, Verdict::unjudged);
        return j.reason;
    };
    EXPECT_EQ(reason(), Reason::cranking);
    firing.speed_rpm = 1500.0;
    EXPECT_EQ(reason(), Reason::fuel_cut);
    firing.cut = false;
    EXPECT_EQ(reason(), Reason::no_phase);
    phase_missing = false;
    EXPECT_EQ(reason(), Reason::no_sync);
    firing.complete = true;
    EXPECT_EQ(reason(), Reason::transient);
    firing.changing = false;
    EXPECT_EQ(reason(), Reason::learning);
    learning = false;
    EXPECT_EQ(reason(), Reason::low_torque);
    firing.known_variance = 0.0;
    EXPECT_EQ(fresh.judge(firing, learning, false, phase_missing).verdict, Verdict::fired);
    EXPECT_EQ(fresh.judge(firing, learning, false, phase_missing).reason, Reason::none);
}

TEST(Decision, RunningBeginsAt450AndEndsAt250) {
    Decision<double> decision = decision_of(1);
    const auto reason_at = [&](double rpm) {
        Firing firing = firing_at(0, 0.0);
        firing.speed_rpm = rpm;
        return decision.judge(firing, false, false, false).reason;
    };
    EXPECT_EQ(reason_at(440.0), Reason::cranking);
    EXPECT_EQ(reason_at(460.0), Reason::none);
    EXPECT_EQ(reason_at(260.0), Reason::none);
    EXPECT_EQ(reason_at(240.0), Reason::cranking);
    EXPECT_EQ(reason_at(440.0), Reason::cranking);
}

TEST(Decision, AStartersFiringsStayThatWhenTheyAreRehearsed) {
    // The engine catches at the fifth firing; three rehearsals, then all come for good.
    Decision<double> decision = decision_of(4);
    for (int pass = 0; pass < 4; ++pass)
        for (int n = 0; n < 40; ++n) {
            Firing firing = firing_at(n % 4, n == 2 ? 1.2 : 0.0);
            firing.bin = 9 * n;
            firing.rehearsal = pass < 3;
            firing.rehearsed = pass == 3;
            firing.speed_rpm = n < 5 ? 280.0 : 900.0;
            const auto j = decision.judge(firing, false, true, false);
            const std::string what = std::to_string(n) + " in pass " + std::to_string(pass);
            EXPECT_EQ(j.reason, n < 5 ? Reason::cranking : Reason::none) << what;
            EXPECT_EQ(j.verdict, n < 5 ? Verdict::unjudged : Verdict::fired) << what;
            // The compression without combustion is among what the engine is learned from: it must not stay there.
            EXPECT_EQ(j.feedback.misfire, n == 2) << what;
            EXPECT_TRUE(j.feedback.learn) << what;
        }
    // Later a starter's firing is nothing that is taken out.
    Firing firing = firing_at(0, 1.2);
    firing.bin = 9 * 40;
    firing.speed_rpm = 200.0;
    const auto j = decision.judge(firing, false, false, false);
    EXPECT_EQ(j.reason, Reason::cranking);
    EXPECT_FALSE(j.feedback.misfire);
}

TEST(Decision, NothingIsLearnedFromWhatHadAnObstacle) {
    for (int obstacle = 0; obstacle < 5; ++obstacle) {
        Decision<double> decision = decision_of(1);
        Firing firing = firing_at(0, 0.3);
        firing.cut = obstacle == 0;
        firing.changing = obstacle == 1;
        firing.mixed = obstacle == 1 || obstacle == 2;
        firing.complete = obstacle != 3;
        const double before = decision.outlook().limits[0];
        for (int n = 0; n < 100; ++n) {
            const auto j = decision.judge(firing, false, false, obstacle == 4);
            EXPECT_FALSE(j.feedback.learn) << obstacle;
        }
        EXPECT_EQ(decision.outlook().limits[0], before) << obstacle;
    }
    Decision<double> decision = decision_of(1);
    EXPECT_TRUE(decision.judge(firing_at(0, 0.3), false, false, false).feedback.learn);
    EXPECT_NE(decision.outlook().limits[0], decision_of(1).outlook().limits[0]);
}

}  // namespace
}  // namespace kurbel::test
