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
        simulate::MisfireRule rule;
        rule.cylinders = {dead};
        rule.rate = 1.0;
        s.misfires = {rule};
        const Counts counts = counted(s, 12.0, 0.5);
        ASSERT_GT(counts.lost, 150);
        EXPECT_LE(counts.missed, 2) << dead;
        EXPECT_LE(counts.accused, 2) << dead;
    }
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

}  // namespace
}  // namespace kurbel
