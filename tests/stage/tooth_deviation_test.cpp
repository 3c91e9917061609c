// A cycle of teeth against a smooth turning: what it shows of single teeth, and which cycles say nothing.
#include "kurbel/stage/tooth_deviation.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "kurbel/core/slider_crank.hpp"
#include "stage/wheel_edges.hpp"

namespace kurbel::test {
namespace {

/// Teeth of a 36-1 wheel that turns at 150 rad/s and is accelerated, tooth by tooth.
struct Crank {
    Crank() {
        config.timer.hz = 1e9;
        deviation.configure(config);
    }

    /// Pushes all teeth of some cycles and one more; how many of them said something.
    int turn(int cycles, const std::function<bool(int cycle, int tooth)>& spoilt = {},
             const std::function<bool(int cycle, int tooth)>& fires = {}) {
        int told = 0;
        for (int revolution = 0; revolution <= 2 * cycles; ++revolution)
            for (int j = 0; j < config.crank_wheel.teeth; ++j) {
                if (revolution == 2 * cycles && j > 0) return told;
                const double deg = 360.0 * revolution +
                                   static_cast<double>(config.crank_wheel.angle_deg[static_cast<std::size_t>(j)]) +
                                   (j == bent ? bent_deg : 0.0);
                // Angle = speed times time and half of the acceleration times its square.
                const double rad = to_rad(deg);
                const double time_s =
                    acceleration == 0.0 ? rad / 150.0
                                        : (std::sqrt(150.0 * 150.0 + 2.0 * acceleration * rad) - 150.0) / acceleration;
                Tooth tooth;
                tooth.tick = std::llround(time_s * config.timer.hz);
                tooth.revolution = revolution;
                tooth.index = j;
                tooth.half = static_cast<std::uint8_t>(revolution & 1);
                tooth.phase_known = true;
                const int cycle = revolution / 2;
                told += deviation.push(tooth, 0.4, !fires || fires(cycle, j), spoilt && spoilt(cycle, j)) ? 1 : 0;
            }
        return told;
    }

    Config config = car(even_wheel(36, {35}));
    double acceleration = 0.0;
    int bent = -1;
    double bent_deg = 0.0;
    ToothDeviation<double> deviation{};
};

TEST(ToothDeviation, ASmoothTurningLeavesNothing) {
    for (const double acceleration : {0.0, 30.0, -30.0}) {
        Crank crank;
        crank.acceleration = acceleration;
        EXPECT_EQ(crank.turn(6), 5);  // the first has none before it
        for (int j = 0; j < 35; ++j)
            EXPECT_NEAR(crank.deviation.seems_deg()[static_cast<std::size_t>(j)], 0.0, 2e-3)
                << acceleration << ", " << j;
    }
}

TEST(ToothDeviation, ABentToothSeemsAsFarOnAsItIs) {
    Crank crank;
    crank.bent = 12;
    crank.bent_deg = 0.3;
    EXPECT_EQ(crank.turn(3), 2);
    // It comes later by the angle that it stands further on, in both revolutions alike.
    EXPECT_NEAR(crank.deviation.seems_deg()[12], 0.3, 1e-3);
    EXPECT_NEAR(crank.deviation.seems_deg()[13], 0.0, 1e-3);
    EXPECT_NEAR(crank.deviation.half_deg()[12], 0.0, 1e-3);
}

TEST(ToothDeviation, ACycleInWhichFuelChangedOrThatIsSpoiltSaysNothing) {
    Crank cut;
    EXPECT_EQ(cut.turn(6, {}, [](int cycle, int tooth) { return cycle < 3 || (cycle == 3 && tooth < 10); }), 4);
    EXPECT_FALSE(cut.deviation.cycle().fires);
    Crank spoilt;
    EXPECT_EQ(spoilt.turn(6, [](int cycle, int tooth) { return cycle == 2 && tooth == 20; }), 4);
    Crank all;
    EXPECT_EQ(all.turn(6, {}, [](int, int) { return false; }), 5);
}

}  // namespace
}  // namespace kurbel::test
