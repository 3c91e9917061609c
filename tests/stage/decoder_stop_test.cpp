// Engines that stop, rock back and start again.
#include <gtest/gtest.h>

#include "stage/wheel_edges.hpp"

namespace kurbel::test {
namespace {

/// Adds `more` after a pause, and counts its revolutions on.
void append(std::vector<WheelEdge>& edges, std::vector<WheelEdge> more, double pause_s, double hz) {
    const std::int64_t shift = edges.back().tick + static_cast<std::int64_t>(pause_s * hz);
    for (WheelEdge& edge : more) {
        edge.tick += shift;
        edges.push_back(edge);
    }
}

/// Slows down over two revolutions to a crawl, as an engine that is switched off.
WheelRun running_down(const WheelConfig& wheel, double from_rpm) {
    WheelRun run;
    run.config = car(wheel);
    run.start_deg = 25.0;
    run.revolutions = 10.0;
    run.speed_deg_s = [from_rpm](double deg) {
        const double left = std::max(0.002, 1.0 - std::max(0.0, deg - 2160.0) / 1440.0);
        return 6.0 * from_rpm * std::sqrt(left);
    };
    return run;
}

TEST(DecoderStop, PauseIsALossAndTheRestartIsFound) {
    for (const WheelConfig& wheel :
         {even_wheel(60, {58, 59}), even_wheel(36, {35}), even_wheel(24, {23}), even_wheel(12, {11})})
        for (const double pause_s : {2.0, 30.0})
            for (double again_deg = 5.0; again_deg < 720.0; again_deg += 130.0) {
                WheelRun first = running_down(wheel, 800.0);
                std::vector<WheelEdge> edges = make_edges(first);
                WheelRun again;
                again.config = first.config;
                again.start_deg = again_deg;
                again.revolutions = 8.0;
                again.speed_deg_s = accelerating(200.0, 120.0);
                const std::size_t stopped_at = edges.size();
                append(edges, make_edges(again), pause_s, first.config.timer.hz);
                const Outcome outcome = decode(first.config, edges);
                SCOPED_TRACE(std::to_string(wheel.teeth) + " teeth, again from " + std::to_string(again_deg));
                EXPECT_EQ(outcome.wrong_index, 0);
                EXPECT_EQ(outcome.wrong_half, 0);
                EXPECT_EQ(outcome.sync.losses, 1);
                EXPECT_EQ(outcome.restarts, 2);
                EXPECT_TRUE(outcome.sync.synchronised);
                EXPECT_TRUE(outcome.teeth.back().phase_known);
                // Within two revolutions after the restart.
                const std::int64_t restart_tick = edges[stopped_at].tick;
                std::int64_t seen = 0;
                for (const WheelEdge& edge : edges)
                    if (edge.signal == Signal::crank && edge.tick >= restart_tick) {
                        ++seen;
                        if (seen == 2 * wheel.teeth + 3) {
                            const auto found =
                                std::find_if(outcome.teeth.begin(), outcome.teeth.end(),
                                             [&](const Tooth& tooth) { return tooth.tick >= restart_tick; });
                            ASSERT_NE(found, outcome.teeth.end());
                            EXPECT_LE(found->tick, edge.tick);
                            EXPECT_TRUE(found->restart);
                        }
                    }
            }
}

TEST(DecoderStop, RevolutionsGoOnCountingAndPhaseIsForgotten) {
    WheelRun first = running_down(even_wheel(60, {58, 59}), 800.0);
    std::vector<WheelEdge> edges = make_edges(first);
    WheelRun again = first;
    again.config.cam_wheel.edges = 0;  // the cam has gone silent
    again.start_deg = 425.0;
    again.revolutions = 6.0;
    again.speed_deg_s = steady(800.0);
    append(edges, make_edges(again), 5.0, first.config.timer.hz);
    const Outcome outcome = decode(first.config, edges);
    std::int64_t before = -1;
    bool restarted = false;
    for (const Tooth& tooth : outcome.teeth) {
        EXPECT_GE(tooth.revolution, before);
        if (tooth.restart && before >= 0) {
            EXPECT_GT(tooth.revolution, before);
            restarted = true;
        }
        if (restarted) {
            EXPECT_FALSE(tooth.phase_known);
        }
        before = tooth.revolution;
    }
    EXPECT_TRUE(restarted);
}

TEST(DecoderStop, RockingBackIsNoticed) {
    // At the end the crank rocks: some teeth pass the sensor again, backwards and forwards, in slow uneven time.
    std::mt19937 random(21);
    std::uniform_real_distribution<double> slow(0.02, 0.2);
    for (int round = 0; round < 20; ++round) {
        WheelRun first = running_down(even_wheel(36, {35}), 800.0);
        std::vector<WheelEdge> edges = make_edges(first);
        std::int64_t tick = edges.back().tick;
        for (int i = 0; i < 2 + round % 9; ++i) {
            tick += static_cast<std::int64_t>(slow(random) * first.config.timer.hz);
            edges.push_back({tick, Signal::crank, -1, 0});
        }
        const std::int64_t stopped = edges.back().tick;
        WheelRun again;
        again.config = first.config;
        again.start_deg = 37.0 * round;
        again.revolutions = 10.0;
        again.speed_deg_s = accelerating(150.0, 150.0);
        append(edges, make_edges(again), 1.5, first.config.timer.hz);
        const Outcome outcome = decode(first.config, edges);
        EXPECT_GE(outcome.sync.losses, 1);
        EXPECT_EQ(outcome.wrong_in_the_end, 0);
        EXPECT_TRUE(outcome.teeth.back().phase_known);
        std::map<std::int64_t, int> truth;
        for (const WheelEdge& edge : edges)
            if (edge.signal == Signal::crank) truth[edge.tick] = edge.tooth;
        for (const Tooth& tooth : outcome.teeth)
            if (tooth.tick > stopped) {
                EXPECT_EQ(tooth.index, truth.at(tooth.tick)) << "round " << round;
            }
    }
}

TEST(DecoderStop, StopsBetweenTwoEdgesOfASingleTooth) {
    WheelRun first;
    first.config = car(even_wheel(1, {}), {});
    first.revolutions = 30.0;
    first.start_deg = 5.0;
    std::vector<WheelEdge> edges = make_edges(first);
    append(edges, make_edges(first), 20.0, first.config.timer.hz);
    const Outcome outcome = decode(first.config, edges);
    EXPECT_EQ(outcome.sync.losses, 1);
    EXPECT_EQ(outcome.restarts, 2);
}

TEST(DecoderStop, HeavyAccelerationIsNoFault) {
    // From cranking to 1500 rpm within one and a half revolutions: 2 kJ into 0.15 kg m2, as much as a car engine can
    // do.
    for (const WheelConfig& wheel : {even_wheel(60, {58, 59}), even_wheel(36, {35}), even_wheel(12, {11})}) {
        WheelRun run;
        run.config = car(wheel);
        run.revolutions = 30.0;
        run.start_deg = 20.0;
        run.speed_deg_s = [](double deg) {
            const double share = std::clamp((deg - 1800.0) / 540.0, 0.0, 1.0);
            return 6.0 * std::sqrt(220.0 * 220.0 + share * (1500.0 * 1500.0 - 220.0 * 220.0));
        };
        const Outcome outcome = decode(run.config, make_edges(run));
        EXPECT_EQ(outcome.wrong_index, 0) << wheel.teeth;
        EXPECT_EQ(outcome.sync.losses, 0) << wheel.teeth;
        EXPECT_EQ(outcome.sync.extra + outcome.sync.missed, 0) << wheel.teeth;
    }
}

TEST(DecoderStop, EmptyAndTinyStreams) {
    Decoder decoder;
    decoder.configure(car(even_wheel(60, {58, 59})));
    std::array<Tooth, kMaxTeethPerPush> out;
    EXPECT_EQ(decoder.finish(out.data()), 0);
    EXPECT_EQ(decoder.push(5, Signal::crank, out.data()), 0);
    EXPECT_EQ(decoder.finish(out.data()), 0);
    EXPECT_EQ(decoder.sync().edges, 1);
    EXPECT_FALSE(decoder.sync().synchronised);
}

}  // namespace
}  // namespace kurbel::test
