// The decoder on every wheel of the trade, from any starting position and with any ordinary way of turning.
#include <gtest/gtest.h>

#include "stage/named_wheels.hpp"
#include "stage/wheel_edges.hpp"

namespace kurbel::test {
namespace {

std::vector<NamedWheel> other_wheels() {
    return {{"one tooth", even_wheel(1, {})},
            {"24 coded teeth", coded_wheel()},
            {"two unequal vanes", listed_wheel({0.0, 140.0})},
            {"three unequal vanes", listed_wheel({0.0, 100.0, 220.0})},
            {"six unequal vanes", listed_wheel({0.0, 50.0, 120.0, 180.0, 240.0, 300.0})}};
}

/// Wheels that repeat within a revolution: the position comes from the cam.
std::vector<NamedWheel> repeating_wheels() {
    return {{"four even lugs", even_wheel(4, {})},
            {"ring gear of 135", even_wheel(135, {})},
            {"ring gear of 400", even_wheel(400, {})},
            {"360 slots, reference every revolution", even_wheel(360, {}), {50.0, 410.0}},
            {"120-2 twice", even_wheel(120, {58, 59, 118, 119})},
            {"36-2-2-2 evenly", even_wheel(36, {10, 11, 22, 23, 34, 35})},
            {"four vanes, alike in pairs", listed_wheel({0.0, 80.0, 180.0, 260.0})}};
}

struct NamedTurning {
    const char* name;
    std::function<double(double)> speed_deg_s;
};

std::vector<NamedTurning> calm_turning() {
    return {{"steady", steady(800.0)},
            {"6000 rpm", steady(6000.0)},
            {"idle ripple", swinging(800.0, 0.06, 2.0)},
            {"half-order swing", swinging(700.0, 0.1, 0.5)},
            {"accelerating", accelerating(600.0, 150.0)},
            {"slowing down", accelerating(3000.0, -120.0)}};
}

void expect_clean(const NamedWheel& wheel, const NamedTurning& turning, double most_revolutions) {
    WheelRun run;
    run.config = car(wheel.wheel, wheel.cam_deg);
    run.speed_deg_s = turning.speed_deg_s;
    run.revolutions = 8.0;
    for (double start_deg = 2.7; start_deg < 720.0; start_deg += 37.0) {
        SCOPED_TRACE(std::string(wheel.name) + ", " + turning.name + ", from " + std::to_string(start_deg));
        run.start_deg = start_deg;
        const Outcome outcome = decode(run.config, make_edges(run));
        ASSERT_GE(outcome.edges_to_sync, 0) << "never synchronised";
        EXPECT_LE(outcome.edges_to_sync, most_revolutions * wheel.wheel.teeth + 1);
        EXPECT_EQ(outcome.wrong_index, 0);
        EXPECT_EQ(outcome.wrong_half, 0);
        EXPECT_EQ(outcome.wrong_revolution, 0);
        EXPECT_EQ(outcome.restarts, 1);
        EXPECT_EQ(outcome.sync.extra, 0);
        EXPECT_EQ(outcome.sync.missed, 0);
        EXPECT_EQ(outcome.sync.losses, 0);
        EXPECT_EQ(outcome.sync.faults, 0);
        EXPECT_TRUE(outcome.teeth.front().restart);
        EXPECT_EQ(outcome.sync.teeth, static_cast<std::int64_t>(outcome.teeth.size()));
        if (testing::Test::HasFailure()) return;
    }
}

TEST(DecoderWheels, WheelsWithGapsAreFoundWithinTwoRevolutions) {
    for (const NamedWheel& wheel : gap_wheels())
        for (const NamedTurning& turning : calm_turning()) expect_clean(wheel, turning, 2.0);
}

TEST(DecoderWheels, CrankingDoesNotMislead) {
    // Speed swings 2 to 1 twice a revolution, as a four-cylinder engine is cranked.
    for (const NamedWheel& wheel : gap_wheels()) {
        if (wheel.wheel.teeth < 9) continue;  // the next test
        expect_clean(wheel, {"cranked", swinging(200.0, 0.33, 2.0)}, 3.0);
        expect_clean(wheel, {"six cylinders cranked", swinging(250.0, 0.2, 3.0)}, 3.0);
        expect_clean(wheel, {"single cylinder cranked", swinging(250.0, 0.33, 0.5)}, 2.2);
    }
}

TEST(DecoderWheels, CoarseWheelsMayWaitWhileCrankedButAreNeverWrong) {
    for (const NamedWheel& wheel : gap_wheels()) {
        if (wheel.wheel.teeth >= 9) continue;
        WheelRun run;
        run.config = car(wheel.wheel);
        run.speed_deg_s = swinging(200.0, 0.33, 2.0);
        run.revolutions = 12.0;
        for (run.start_deg = 2.7; run.start_deg < 720.0; run.start_deg += 37.0) {
            const Outcome outcome = decode(run.config, make_edges(run));
            EXPECT_EQ(outcome.wrong_index, 0) << wheel.name << " from " << run.start_deg;
            EXPECT_EQ(outcome.sync.losses, 0) << wheel.name << " from " << run.start_deg;
        }
    }
}

TEST(DecoderWheels, StartFromStandstillIsNoGap) {
    // Speed from a tenth upwards with the root of the angle: the first periods are long, as a gap's.
    const NamedTurning turning{"from standstill",
                               [](double deg) { return std::min(1500.0, 60.0 + 1500.0 * std::sqrt(deg / 120.0)); }};
    for (const NamedWheel& wheel : gap_wheels()) expect_clean(wheel, turning, 2.2);
}

TEST(DecoderWheels, UnevenWheelsAndSingleTeeth) {
    for (const NamedWheel& wheel : other_wheels())
        for (const NamedTurning& turning : calm_turning()) expect_clean(wheel, turning, 3.5);
}

TEST(DecoderWheels, RepeatingWheelsWaitForTheCam) {
    for (const NamedWheel& wheel : repeating_wheels())
        for (const NamedTurning& turning : calm_turning()) expect_clean(wheel, turning, 3.6);
}

TEST(DecoderWheels, RepeatingWheelsWithoutCamGiveNoTeeth) {
    WheelRun run;
    run.config = car(even_wheel(120, {58, 59, 118, 119}), {});
    const Outcome outcome = decode(run.config, make_edges(run));
    EXPECT_TRUE(outcome.teeth.empty());
    EXPECT_FALSE(outcome.sync.synchronised);
}

TEST(DecoderWheels, EveryEdgeOfASingleToothIsARevolution) {
    WheelRun run;
    run.config = car(even_wheel(1, {}), {});
    run.revolutions = 20.0;
    run.start_deg = 5.0;
    const Outcome outcome = decode(run.config, make_edges(run));
    ASSERT_EQ(outcome.teeth.size(), 20U);
    EXPECT_EQ(outcome.teeth.back().revolution - outcome.teeth.front().revolution, 19);
    EXPECT_EQ(outcome.sync.revolutions, 19);
    for (const Tooth& tooth : outcome.teeth) EXPECT_FALSE(tooth.phase_known);
}

TEST(DecoderWheels, PitchErrorAndJitterChangeNoIndex) {
    std::mt19937 random(7);
    std::normal_distribution<double> normal;
    for (const NamedWheel& wheel : gap_wheels()) {
        std::vector<double> error_deg;
        for (int i = 0; i < wheel.wheel.teeth; ++i) error_deg.push_back(0.1 * normal(random));
        WheelRun run;
        run.config = car(wheel.wheel);
        run.speed_deg_s = swinging(800.0, 0.06, 2.0);
        run.revolutions = 60.0;
        run.displaced_deg = [&](int tooth, int) {
            return error_deg[static_cast<std::size_t>(tooth)] + 0.02 * normal(random);
        };
        const Outcome outcome = decode(run.config, make_edges(run));
        EXPECT_EQ(outcome.wrong_index, 0) << wheel.name;
        EXPECT_EQ(outcome.sync.losses + outcome.sync.extra + outcome.sync.missed, 0) << wheel.name;
        EXPECT_LE(outcome.edges_to_sync, 2 * wheel.wheel.teeth) << wheel.name;
    }
}

TEST(DecoderWheels, WheelThatDoesNotFitIsNotBelieved) {
    // Edges of a 36-1 wheel, told to be a 60-2 wheel.
    WheelRun run;
    run.config = car(even_wheel(36, {35}));
    run.revolutions = 100.0;
    const std::vector<WheelEdge> edges = make_edges(run);
    const Outcome outcome = decode(car(even_wheel(60, {58, 59})), edges);
    // No story of such edges leads its rivals by enough.
    EXPECT_TRUE(outcome.teeth.empty());
    EXPECT_EQ(outcome.sync.revolutions, 0);
}

}  // namespace
}  // namespace kurbel::test
