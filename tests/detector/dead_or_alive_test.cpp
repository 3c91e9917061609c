// Who is dead is found, and who is healthy is not held dead: engines at which the search for dead cylinders went wrong before.
#include <gtest/gtest.h>

#include <cstdint>
#include <string>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "kurbel/study/score.hpp"

namespace kurbel {
namespace {

struct Counts {
    int lost = 0;
    int missed = 0;
    int healthy = 0;
    int accused = 0;
};

simulate::Scenario drawn(const std::string& cell, std::uint64_t number) {
    return simulate::read_scenario(KURBEL_DATASETS "/cells/" + cell + ".toml", number);
}

/// A cylinder never fires.
void let_die(simulate::Scenario& s, int cylinder) {
    simulate::MisfireRule rule;
    rule.cylinders = {cylinder};
    rule.rate = 1.0;
    s.misfires = {rule};
}

/// Firings from `from_s` on, by what they did and what they were called.
Counts counted(simulate::Scenario s, double seconds, double from_s) {
    s.seconds = seconds;
    const read::Recording recording = simulate::simulate(s);
    const Result<read::Analysis> result = read::analyze(recording, Settings{});
    EXPECT_TRUE(result.ok());
    Counts counts;
    if (!result.ok()) return counts;
    const auto event_of = match_events(result.value.events, recording.truth);
    for (std::size_t i = 0; i < recording.truth.size(); ++i) {
        if (recording.truth[i].time_s < from_s || event_of[i] < 0) continue;
        const bool called = result.value.events[static_cast<std::size_t>(event_of[i])].verdict == Verdict::misfire;
        if (recording.truth[i].severity > 0.5) {
            ++counts.lost;
            counts.missed += called ? 0 : 1;
        } else {
            ++counts.healthy;
            counts.accused += called ? 1 : 0;
        }
    }
    return counts;
}

TEST(DeadOrAlive, ADieselsDualMassFlywheelHidesNobody) {
    for (int dead = 1; dead <= 4; ++dead) {
        simulate::Scenario s = drawn("layout-inline4-diesel", 1036346755204447U);
        let_die(s, dead);
        const Counts counts = counted(s, 12.0, 0.5);
        ASSERT_GT(counts.lost, 150);
        EXPECT_LE(counts.missed, 2) << dead;
        EXPECT_LE(counts.accused, 2) << dead;
    }
}

TEST(DeadOrAlive, ADrivenCarsDeadCylinderStaysDeadThroughTheClutch) {
    simulate::Scenario s = drawn("transient-clutch", 5168559681566U);
    let_die(s, 4);
    const Counts counts = counted(s, 20.0, 0.5);
    ASSERT_GT(counts.lost, 200);
    EXPECT_LE(counts.missed, 6);
    EXPECT_LE(counts.accused, 2);
}

TEST(DeadOrAlive, ASoftCrankOfASixIsNoDeadBank) {
    simulate::Scenario s = drawn("layout-inline6", 1016180569707560U);
    s.crank.first_torsion_hz = 200.0;
    s.crank_wheel.at = SensorAt::flywheel;
    s.operation.mode = simulate::Operation::hold;
    s.operation.speed_rpm = simulate::Profile(4781.0);
    s.operation.load = simulate::Profile(0.56);
    const Counts counts = counted(s, 6.0, 0.0);
    ASSERT_GT(counts.healthy, 500);
    EXPECT_LE(counts.accused, 2);
}

TEST(DeadOrAlive, AnEngineThatCatchesAfterLongCrankingHasLostNobody) {
    const Counts counts = counted(drawn("start-crank-no-fuel", 791965834144848U), 9.0, 5.3);
    ASSERT_GT(counts.healthy, 80);
    EXPECT_LE(counts.accused, 2);
}

TEST(DeadOrAlive, TwoOppositeOnesThatMisfireForAWhileAreNotTaughtAsHealthy) {
    // Half orders of a pair a revolution apart cancel, so that neither shows beside the other: both lose their work for 0.7 seconds.
    simulate::Scenario s = drawn("pattern-bursts", 1050661720270334U);
    simulate::MisfireRule rule;
    rule.rate = 1.0;
    rule.cylinders = {s.engine.firing_order[0], s.engine.firing_order[2]};
    rule.from_s = 6.0;
    rule.to_s = 6.7;
    s.misfires = {rule};
    const Counts counts = counted(s, 9.0, 0.0);
    ASSERT_GT(counts.lost, 20);
    EXPECT_LE(counts.missed, 1);
    EXPECT_LE(counts.accused, 1);
}

TEST(DeadOrAlive, WhatEverySecondCycleLosesDoesNotGoOverIntoThePattern) {
    // In this gear the driveline swings at half of the cycle's frequency, so that each loss meets the swing of the last one. What the response
    // got wrong of that went over into the pattern, until two healthy cylinders seemed dead after 80 seconds.
    const Counts counts = counted(drawn("pattern-alternate", 744003823558981U), 95.0, 0.5);
    ASSERT_GT(counts.lost, 500);
    EXPECT_EQ(counts.missed, 0);
    EXPECT_EQ(counts.accused, 0);
}

/// A rule by which the `first` place of the firing order and the one a revolution later never fire.
simulate::MisfireRule two_of(const simulate::Scenario& s, int first) {
    simulate::MisfireRule rule;
    rule.pattern = simulate::MisfirePattern::continuous;
    for (const int place : {first, first + s.engine.cylinders / 2})
        rule.cylinders.push_back(s.engine.firing_order[static_cast<std::size_t>(place % s.engine.cylinders)]);
    return rule;
}

void idle_at(simulate::Scenario& s, double speed_rpm) {
    s.operation.mode = simulate::Operation::neutral;
    s.operation.speed_rpm = simulate::Profile(speed_rpm);
    s.operation.load = s.operation.load_share = simulate::Profile();
}

TEST(DeadOrAlive, TwoThatBurnAgainAreFreedWhereverTheEngineRacesOffTo) {
    struct Case {
        const char* cell;
        std::uint64_t number;
        int first;
        double idle_rpm;  // 0: in gear
    };
    for (const Case& c : {Case{"layout-inline4-crossplane", 839151424775036U, 3, 0.0},
                          Case{"layout-v4-90-crank360", 886703295238557U, 1, 0.0},
                          Case{"layout-inline4", 336465401746715U, 2, 767.0}}) {
        simulate::Scenario s = drawn(c.cell, c.number);
        if (c.idle_rpm > 0.0) idle_at(s, c.idle_rpm);
        // Dead from the first edge on; in steps, or the idle would stall.
        s.misfires.assign(3, two_of(s, c.first));
        for (simulate::MisfireRule& rule : s.misfires) rule.to_s = 12.0;
        s.misfires[0].severity = 1.0 / 3.0;
        s.misfires[1].severity = 2.0 / 3.0;
        s.misfires[1].from_s = -3.5;
        s.misfires[2].from_s = -2.0;
        const Counts counts = counted(s, 20.0, 1.0);
        ASSERT_GT(counts.lost, 100) << c.cell;
        EXPECT_LE(counts.missed, 1) << c.cell;
        EXPECT_LE(counts.accused, 3) << c.cell;
    }
}

TEST(DeadOrAlive, TwoThatDieLaterStayFound) {
    struct Case {
        const char* cell;
        std::uint64_t number;
        int first;
    };
    for (const Case& c :
         {Case{"layout-inline4-crossplane", 991643384406952U, 1}, Case{"layout-inline4", 256309060481151U, 2}}) {
        simulate::Scenario s = drawn(c.cell, c.number);
        s.misfires = {two_of(s, c.first)};
        s.misfires[0].from_s = 15.0;
        const Counts counts = counted(s, 30.0, 1.0);
        ASSERT_GT(counts.lost, 500) << c.cell;
        EXPECT_LE(counts.missed, 2) << c.cell;
        EXPECT_LE(counts.accused, 2) << c.cell;
    }
}

TEST(DeadOrAlive, ABankThatDiesIsNotTakenForThePattern) {
    struct Case {
        const char* cell;
        std::uint64_t number;
        double speed_rpm;
        double load;
    };
    for (const Case& c : {Case{"layout-v8-flatplane", 1U, 4400.0, 0.6}, Case{"layout-v8-flatplane", 4U, 4400.0, 0.6},
                          Case{"layout-v8-crossplane", 1U, 3000.0, 0.5}}) {
        simulate::Scenario s = drawn(c.cell, c.number);
        s.operation.mode = simulate::Operation::hold;
        s.operation.speed_rpm = simulate::Profile(c.speed_rpm);
        s.operation.load = simulate::Profile(c.load);
        simulate::MisfireRule rule;
        rule.pattern = simulate::MisfirePattern::continuous;
        rule.from_s = 8.0;
        for (int cylinder = 1; cylinder <= s.engine.cylinders; ++cylinder)
            if (s.engine.bank[static_cast<std::size_t>(cylinder - 1)] == 1) rule.cylinders.push_back(cylinder);
        s.misfires = {rule};
        const Counts counts = counted(s, 14.0, 0.5);
        ASSERT_GT(counts.lost, 500) << c.cell;
        EXPECT_LE(counts.missed, 4) << c.cell;
        EXPECT_EQ(counts.accused, 0) << c.cell;
    }
}

TEST(DeadOrAlive, ATwinOnADrivelineThatSwingsAtEighteenHertzHasLostNobody) {
    simulate::Scenario s = drawn("layout-vtwin-45", 459011705024223U);
    s.misfires.clear();
    s.combustion.cylinder_factor = {0.946, 1.067};
    idle_at(s, 1012.6);
    const Counts counts = counted(s, 10.0, 0.0);
    ASSERT_GT(counts.healthy, 120);
    EXPECT_LE(counts.accused, 2);
}

}  // namespace
}  // namespace kurbel
