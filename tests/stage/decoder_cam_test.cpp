// Phase by cam: when it is told, what survives, and what is never claimed.
#include <gtest/gtest.h>

#include "stage/wheel_edges.hpp"

namespace kurbel::test {
namespace {

WheelRun run_with(std::vector<double> cam_deg, double start_deg = 10.0, double revolutions = 12.0) {
    WheelRun run;
    run.config = car(even_wheel(60, {58, 59}), std::move(cam_deg));
    run.start_deg = start_deg;
    run.revolutions = revolutions;
    return run;
}

TEST(DecoderCam, OneEdgeTellsAtOnce) {
    for (double cam_deg = 1.0; cam_deg < 720.0; cam_deg += 71.0)
        for (double start_deg = 3.0; start_deg < 720.0; start_deg += 97.0) {
            const WheelRun run = run_with({cam_deg}, start_deg);
            const Outcome outcome = decode(run.config, make_edges(run));
            EXPECT_EQ(outcome.wrong_half, 0);
            // At most the way to the gap and once around the cam.
            EXPECT_GE(outcome.edges_to_phase, 0);
            EXPECT_LE(outcome.edges_to_phase, 58 * 3 + 8) << cam_deg << " from " << start_deg;
            EXPECT_EQ(outcome.sync.phase, Phase::cam);
        }
}

TEST(DecoderCam, SeveralEdges) {
    const std::vector<std::vector<double>> patterns{{50.0, 290.0, 410.0},
                                                    {20.0, 180.0, 360.0, 540.0, 720.0 - 30.0},
                                                    {0.0, 90.0, 270.0, 450.0},
                                                    {100.0, 130.0},
                                                    {10.0, 370.0, 200.0 + 360.0}};
    for (std::vector<double> cam_deg : patterns) {
        std::sort(cam_deg.begin(), cam_deg.end());
        for (double start_deg = 3.0; start_deg < 720.0; start_deg += 53.0) {
            const WheelRun run = run_with(cam_deg, start_deg);
            const Outcome outcome = decode(run.config, make_edges(run));
            EXPECT_EQ(outcome.wrong_half, 0) << cam_deg[0] << " from " << start_deg;
            EXPECT_EQ(outcome.sync.phase, Phase::cam) << cam_deg[0] << " from " << start_deg;
            EXPECT_EQ(outcome.restarts, 1);
            EXPECT_TRUE(outcome.teeth.back().phase_known);
        }
    }
}

TEST(DecoderCam, EdgesThatStandOff) {
    // A cam phaser, a stretched belt: up to 25 crank degrees either way.
    for (const double off_deg : {-25.0, -10.0, 10.0, 25.0}) {
        WheelRun run = run_with({50.0, 290.0, 410.0});
        const std::vector<WheelEdge> edges = make_edges(run);
        Config told = run.config;
        for (int i = 0; i < told.cam_wheel.edges; ++i) told.cam_wheel.edge_deg[static_cast<std::size_t>(i)] += off_deg;
        const Outcome outcome = decode(told, edges);
        EXPECT_EQ(outcome.wrong_half, 0) << off_deg;
        EXPECT_EQ(outcome.sync.phase, Phase::cam) << off_deg;
    }
}

TEST(DecoderCam, APhaserMayWander) {
    // The cam turns by 60 degrees of the crank in the course of 60 revolutions.
    WheelRun run = run_with({});
    run.revolutions = 80.0;
    for (int cycle = 0; cycle < 40; ++cycle)
        run.cam_extra_deg.push_back(720.0 * cycle + 84.0 + 50.0 + std::min(60.0, 2.0 * cycle));
    const std::vector<WheelEdge> edges = make_edges(run);
    const Outcome outcome = decode(run_with({50.0}).config, edges);
    EXPECT_EQ(outcome.wrong_half, 0);
    EXPECT_TRUE(outcome.teeth.back().phase_known);
}

TEST(DecoderCam, HalfAlternatesUntilTheCamHasTold) {
    WheelRun run = run_with({50.0});
    run.cam_missed = [](int, int revolution) { return revolution < 4; };
    const Outcome outcome = decode(run.config, make_edges(run));
    EXPECT_EQ(outcome.wrong_half, 0);
    std::size_t i = 1;
    for (; i < outcome.teeth.size() && !outcome.teeth[i].phase_known; ++i) {
        const bool wrapped = outcome.teeth[i].index < outcome.teeth[i - 1].index;
        EXPECT_EQ(outcome.teeth[i].half != outcome.teeth[i - 1].half, wrapped);
    }
    EXPECT_GT(i, 3U * 58U);
    EXPECT_LT(i, outcome.teeth.size());
    EXPECT_EQ(outcome.restarts, 1);
    EXPECT_EQ(outcome.wrong_revolution, 0);
}

TEST(DecoderCam, SilentCamKeepsThePhase) {
    WheelRun run = run_with({50.0, 290.0, 410.0}, 10.0, 60.0);
    run.cam_missed = [](int, int revolution) { return revolution >= 6; };
    const Outcome outcome = decode(run.config, make_edges(run));
    EXPECT_EQ(outcome.wrong_half, 0);
    EXPECT_TRUE(outcome.teeth.back().phase_known);
}

TEST(DecoderCam, MissedAndExtraEdges) {
    std::mt19937 random(5);
    std::uniform_real_distribution<double> uniform;
    for (const std::vector<double>& cam_deg : {std::vector<double>{50.0}, std::vector<double>{50.0, 290.0, 410.0},
                                               std::vector<double>{20.0, 180.0, 540.0}}) {
        WheelRun run = run_with(cam_deg, 10.0, 400.0);
        std::map<std::pair<int, int>, bool> gone;
        for (int cycle = 4; cycle < 200; ++cycle) {
            for (int i = 0; i < static_cast<int>(cam_deg.size()); ++i)
                if (uniform(random) < 0.05) gone[{i, 2 * cycle}] = true;
            if (uniform(random) < 0.05) run.cam_extra_deg.push_back(720.0 * (cycle + uniform(random)));
        }
        run.cam_missed = [&gone](int edge, int revolution) { return gone.count({edge, revolution}) > 0; };
        const Outcome outcome = decode(run.config, make_edges(run));
        EXPECT_EQ(outcome.wrong_half, 0) << cam_deg.size() << " edges";
        EXPECT_EQ(outcome.sync.losses, 0);
    }
}

TEST(DecoderCam, AFirstEdgeThatWasNoneIsOverruled) {
    // Noise where the edge of the other half would be, before any true one: wrong, but only until two cycles disagree.
    WheelRun run = run_with({50.0}, 10.0, 40.0);
    run.cam_missed = [](int, int revolution) { return revolution < 4; };
    run.cam_extra_deg = {360.0 * 2 + 360.0 + 84.0 + 50.0};
    const Outcome outcome = decode(run.config, make_edges(run));
    EXPECT_LE(outcome.wrong_half, 6 * 58);
    EXPECT_TRUE(outcome.teeth.back().phase_known);
    EXPECT_EQ(outcome.teeth.back().half, 0) << "40 revolutions end in a first half";
    EXPECT_EQ(outcome.sync.losses, 0);
}

TEST(DecoderCam, OneContradictionIsNotEnough) {
    WheelRun run = run_with({50.0}, 10.0, 40.0);
    run.cam_missed = [](int, int revolution) { return revolution == 12; };
    run.cam_extra_deg = {360.0 * 13 + 84.0 + 50.0};
    EXPECT_EQ(decode(run.config, make_edges(run)).wrong_half, 0);
}

TEST(DecoderCam, APatternThatIsTheSameInBothHalvesTellsNothing) {
    const WheelRun run = run_with({50.0, 410.0});
    const Outcome outcome = decode(run.config, make_edges(run));
    EXPECT_EQ(outcome.sync.phase, Phase::unknown);
    EXPECT_FALSE(outcome.teeth.back().phase_known);
    EXPECT_EQ(outcome.restarts, 1);
}

TEST(DecoderCam, OnceARevolutionPlacesARingGearButNotTheHalf) {
    WheelRun run = run_with({50.0, 410.0});
    run.config.crank_wheel = even_wheel(160, {});
    run.config.crank_wheel.tdc1_deg = 84.0;
    const Outcome outcome = decode(run.config, make_edges(run));
    ASSERT_FALSE(outcome.teeth.empty());
    EXPECT_EQ(outcome.wrong_index, 0);
    EXPECT_FALSE(outcome.teeth.back().phase_known);
    EXPECT_EQ(outcome.sync.phase, Phase::unknown);
}

TEST(DecoderCam, RingGearKeepsItsPlaceWhileTheReferenceShakes) {
    // The reference stands up to half a tooth off; it must not pull the count to and fro.
    std::mt19937 random(9);
    std::uniform_real_distribution<double> shake(-0.5, 0.5);
    WheelRun run = run_with({});
    run.config.crank_wheel = even_wheel(135, {});
    run.config.crank_wheel.tdc1_deg = 84.0;
    run.revolutions = 100.0;
    for (int cycle = 0; cycle < 50; ++cycle)
        run.cam_extra_deg.push_back(720.0 * cycle + 84.0 + 50.0 + 360.0 / 135.0 * shake(random));
    Config told = run.config;
    told.cam_wheel.edges = 1;
    told.cam_wheel.edge_deg[0] = 50.0;
    const Outcome outcome = decode(told, make_edges(run));
    EXPECT_EQ(outcome.restarts, 1);
    EXPECT_EQ(outcome.sync.losses, 0);
    EXPECT_EQ(outcome.wrong_half, 0);
}

TEST(DecoderCam, FourEvenLugsByCamSurviveFaults) {
    WheelRun run = run_with({50.0, 200.0});
    run.config.crank_wheel = even_wheel(4, {});
    run.config.crank_wheel.tdc1_deg = 84.0;
    run.revolutions = 60.0;
    run.missed = [](int tooth, int revolution) { return tooth == 2 && revolution == 21; };
    const Outcome outcome = decode(run.config, make_edges(run));
    EXPECT_EQ(outcome.wrong_index, 0);
    EXPECT_EQ(outcome.wrong_half, 0);
    EXPECT_EQ(outcome.sync.missed, 1);
}

TEST(DecoderCam, TwoStrokeNeedsNoPhase) {
    WheelRun run = run_with({});
    run.config.engine.strokes = 2;
    make_even_firing(run.config.engine);
    const Outcome outcome = decode(run.config, make_edges(run));
    EXPECT_EQ(outcome.sync.phase, Phase::not_needed);
    for (const Tooth& tooth : outcome.teeth) {
        EXPECT_EQ(tooth.half, 0);
        EXPECT_TRUE(tooth.phase_known);
    }
    EXPECT_EQ(outcome.wrong_index, 0);
}

TEST(DecoderCam, TwoStrokeRingGearByReference) {
    WheelRun run = run_with({50.0});
    run.config.engine.strokes = 2;
    make_even_firing(run.config.engine);
    run.config.crank_wheel = even_wheel(120, {});
    run.config.crank_wheel.tdc1_deg = 84.0;
    const Outcome outcome = decode(run.config, make_edges(run));
    ASSERT_FALSE(outcome.teeth.empty());
    EXPECT_EQ(outcome.wrong_index, 0);
    EXPECT_LE(outcome.edges_to_sync, 2 * 120);
}

TEST(DecoderCam, TdcAtTheVeryEndOfTheRevolution) {
    for (const double tdc1_deg : {0.0, 1.0, 359.0, 360.0}) {
        WheelRun run = run_with({50.0});
        run.config.crank_wheel.tdc1_deg = tdc1_deg;
        const Outcome outcome = decode(run.config, make_edges(run));
        EXPECT_EQ(outcome.wrong_half, 0) << tdc1_deg;
        EXPECT_TRUE(outcome.teeth.back().phase_known) << tdc1_deg;
    }
}

}  // namespace
}  // namespace kurbel::test
