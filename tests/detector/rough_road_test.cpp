// Holes in the road shake the driveline; that is no misfire, and a misfire is one on such a road, too.
#include <gtest/gtest.h>

#include <string>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "kurbel/study/score.hpp"

namespace kurbel {
namespace {

struct Drive {
    Score score{};
    int rough_road = 0;
    int other_reasons = 0;
};

/// Half a minute in second gear at little load, over holes as deep as a hand is long, one every fifteen metres.
Drive drive(double seed, double misfires) {
    simulate::Scenario s =
        simulate::read_scenario(KURBEL_DATASETS "/cells/road-potholes.toml", static_cast<std::uint64_t>(seed));
    s.seconds = 30.0;
    s.operation.speed_rpm = simulate::Profile(1500.0);
    s.operation.load_share = simulate::Profile(0.1);
    s.gearbox.gear = {{0.0, 2}};
    s.road.height_m = 0.1;
    s.road.every_m = 15.0;
    if (misfires > 0.0) {
        simulate::MisfireRule rule;
        rule.pattern = simulate::MisfirePattern::random;
        rule.rate = misfires;
        rule.from_s = 5.0;
        s.misfires.push_back(rule);
    }
    const read::Recording recording = simulate::simulate(s);
    const Result<read::Analysis> result = read::analyze(recording, Settings{});
    EXPECT_TRUE(result.ok());
    Drive drive;
    drive.score = score(result.value.events, recording.truth);
    for (const Event& event : result.value.events) {
        if (event.verdict != Verdict::unjudged) continue;
        (event.reason == Reason::rough_road ? drive.rough_road : drive.other_reasons) += 1;
    }
    return drive;
}

TEST(RoughRoad, IsNoMisfireOfAHealthyEngine) {
    std::int64_t called = 0;
    int rough_road = 0;
    for (const double seed : {1.0, 2.0}) {
        const Drive healthy = drive(seed, 0.0);
        called += healthy.score.false_alarms.count;
        rough_road += healthy.rough_road;
        EXPECT_GT(healthy.score.false_alarms.of, 1000);
    }
    // Those of the first seconds, when nobody can know yet what is usual here.
    RecordProperty("called", static_cast<int>(called));
    RecordProperty("rough_road", rough_road);
    EXPECT_LE(called, 2);
    EXPECT_GE(rough_road, 10) << "or the road is no trap";
}

TEST(RoughRoad, HidesNoMisfire) {
    const Drive misfiring = drive(4.0, 0.05);
    EXPECT_GT(misfiring.score.missed.of, 40);
    EXPECT_LE(misfiring.score.missed.count, 2);
    EXPECT_LE(misfiring.score.false_alarms.count, 2);
}

}  // namespace
}  // namespace kurbel
