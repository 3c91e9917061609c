// Wheels whose teeth do not stand where they should: what repeats every revolution belongs to the wheel, and is no gap.
#include <gtest/gtest.h>

#include "stage/named_wheels.hpp"
#include "stage/wheel_edges.hpp"
#include "support/slice.hpp"

namespace kurbel::test {
namespace {

/// A cast or bent wheel: each tooth stands off by up to `share` of a pitch, so neighbouring intervals differ by up to four times that.
WheelRun uneven_run(const WheelConfig& wheel, double share, std::mt19937& random) {
    std::uniform_real_distribution<double> uniform(-1.0, 1.0);
    std::normal_distribution<double> normal;
    const double pitch_deg = static_cast<double>(wheel.angle_deg[2] - wheel.angle_deg[1]);
    std::vector<double> off_deg;
    for (int i = 0; i < wheel.teeth; ++i) off_deg.push_back(share * pitch_deg * uniform(random));
    WheelRun run;
    run.config = car(wheel);
    run.start_deg = 360.0 * (1.0 + uniform(random));
    run.speed_deg_s =
        swinging(2300.0 + 1500.0 * uniform(random), 0.025 * (1.0 + uniform(random)), 2.0, 180.0 * uniform(random));
    std::map<std::pair<int, int>, double> jitter_deg;
    run.displaced_deg = [=, &random](int tooth, int revolution) mutable {
        const auto [at, fresh] = jitter_deg.emplace(std::pair{tooth, revolution}, 0.0);
        if (fresh) at->second = 0.02 * normal(random);
        return off_deg[static_cast<std::size_t>(tooth)] + at->second;
    };
    return run;
}

TEST(DecoderUneven, TeethOffByAThirteenthOfAPitchAreNoGaps) {
    for (const NamedWheel& kind : gap_wheels()) {
        // Wider teeth are placed as exactly in degrees, so better in pitches.
        if (kind.wheel.angle_deg[2] - kind.wheel.angle_deg[1] > 10.5F) continue;
        for (int round = 0; round < 60; round += kStride) {
            SCOPED_TRACE(std::string(kind.name) + ", round " + std::to_string(round));
            std::mt19937 random(static_cast<unsigned>(1000 + round));
            const WheelRun run = uneven_run(kind.wheel, 0.077, random);
            const Outcome outcome = decode(run.config, make_edges(run));
            ASSERT_GE(outcome.edges_to_sync, 0) << "never synchronised";
            EXPECT_EQ(outcome.wrong_index, 0);
            EXPECT_EQ(outcome.sync.losses + outcome.sync.extra + outcome.sync.missed, 0);
            EXPECT_LE(outcome.edges_to_sync, 3 * kind.wheel.teeth + kind.wheel.teeth / 2);
        }
    }
}

TEST(DecoderUneven, ARealFaultIsStillOneOnSuchAWheel) {
    for (int round = 0; round < 20; ++round)
        for (const bool extra : {false, true}) {
            SCOPED_TRACE(std::string(extra ? "extra" : "missed") + ", round " + std::to_string(round));
            std::mt19937 random(static_cast<unsigned>(2000 + round));
            WheelRun run = uneven_run(even_wheel(60, {58, 59}), 0.07, random);
            const int at = 3 + 2 * round;
            const int first = static_cast<int>(std::floor(run.start_deg / 360.0));
            if (extra)
                run.extra_deg = {360.0 * (first + 6) + 6.0 * at + 3.0};
            else
                run.missed = [=](int tooth, int revolution) { return tooth == at && revolution == first + 6; };
            const Outcome outcome = decode(run.config, make_edges(run));
            EXPECT_EQ(outcome.wrong_index, 0);
            EXPECT_EQ(outcome.sync.losses, 0);
            EXPECT_EQ(outcome.sync.extra, extra ? 1 : 0);
            EXPECT_EQ(outcome.sync.missed, extra ? 0 : 1);
        }
}

}  // namespace
}  // namespace kurbel::test
