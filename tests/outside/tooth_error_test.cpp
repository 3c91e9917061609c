// How far teeth stand off, read from a mean revolution, against teeth that were set: intervals are widths over the time that a
// crank of known speed takes between the places where its teeth really are. Speeds and errors are invented.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "kurbel/simulate/random.hpp"
#include "study/tooth_error.hpp"

namespace {

using namespace kurbel;

constexpr double kTurn = 6.283185307179586;

/// Seconds from angle 0 for a speed that sways twice and four times a turn.
double seconds_at(double angle_rad) {
    // dt = dtheta / w with 1 / w = slow (1 + sway), in closed form.
    return 0.0125 *
           (angle_rad + 0.5 * 0.03 * std::sin(2.0 * angle_rad) + 0.25 * 0.01 * std::sin(4.0 * angle_rad + 0.7));
}

struct Made {
    Config config;
    CycleProfiles profiles;
};

Made make(int positions, int absent, double error_deg, std::uint64_t seed) {
    Made made;
    made.config.crank_wheel.teeth = positions - absent;
    simulate::Random random(seed, 1);
    const int teeth = positions - absent;
    std::vector<double> stands_rad;
    for (int i = 0; i < teeth; ++i)
        stands_rad.push_back(kTurn * i / positions + error_deg * kTurn / 360.0 * random.normal());
    CycleProfile cycle;
    for (int half = 0; half < 2; ++half)
        for (int i = 0; i < teeth; ++i) {
            const double width_rad = kTurn / positions * (i + 1 < teeth ? 1 : 1 + absent);
            const double to = i + 1 < teeth ? stands_rad[static_cast<std::size_t>(i + 1)] : kTurn + stands_rad[0];
            const double speed = width_rad / (seconds_at(to) - seconds_at(stands_rad[static_cast<std::size_t>(i)]));
            made.profiles.begin_deg.push_back(360.0 * half + 360.0 * i / positions);
            made.profiles.width_deg.push_back(360.0 / kTurn * width_rad);
            cycle.interval.push_back(0.5 * speed * speed);
            cycle.energy += cycle.interval.back() / (2.0 * teeth);
        }
    made.profiles.cycles.assign(10, cycle);
    return made;
}

TEST(ToothError, IsSeenAsItWasSet) {
    for (const double set_deg : {0.02, 0.1})
        for (const int positions : {24, 36, 60}) {
            std::vector<double> seen;
            for (std::uint64_t seed = 1; seed <= 40; ++seed) {
                const Made made = make(positions, positions == 60 ? 2 : 1, set_deg, seed);
                seen.push_back(tooth_error_deg(made.config, made.profiles));
            }
            std::sort(seen.begin(), seen.end());
            EXPECT_NEAR(seen[20], set_deg, 0.2 * set_deg) << positions;  // the median wheel
            EXPECT_GT(seen[2], 0.4 * set_deg) << positions;
            EXPECT_LT(seen[37], 1.9 * set_deg) << positions;
        }
}

TEST(ToothError, ASwayOfSpeedIsNoTooth) {
    const Made made = make(60, 2, 0.0, 1);
    EXPECT_LT(tooth_error_deg(made.config, made.profiles), 0.002);
}

TEST(ToothError, TooFewTeethTellNothing) {
    const Made made = make(8, 1, 0.05, 1);
    EXPECT_TRUE(std::isnan(tooth_error_deg(made.config, made.profiles)));
}

}  // namespace
