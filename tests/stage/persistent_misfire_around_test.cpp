// What surrounds the crank does not accuse, and hides no dead cylinder: the wheel's errors, and what hangs on the crank.
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "stage/pattern_bench.hpp"

namespace kurbel::test {
namespace {

TEST(PersistentMisfire, WheelErrorDoesNotAccuse) {
    for (const NamedEngine& c : named_engines())
        for (unsigned seed = 0; seed < 7; ++seed) {
            PatternBench bench(c.engine);
            bench.track(20);
            LearnedPattern<double> learned = bench.pattern(bench.healthy(0.02));
            const CycleOfBins wheel = wheel_error_differences(bench, learned.energy, 0.1, seed);
            for (std::size_t b = 0; b < wheel.size(); ++b) learned.difference[b] += wheel[b];
            EXPECT_TRUE(named(bench.persistent.examine(learned, kSilent).missing).empty())
                << c.name << ", wheel " << seed;
        }
}

/// What a wheel that runs out by `run_out_deg` adds to a pattern's differences: an angle that is off by e cos(angle) bends the speed by as much per
/// radian, and the energy twice.
void run_out(const PatternBench& bench, double run_out_deg, LearnedAt<double>& at) {
    const double turn = 4.0 * std::numbers::pi / bench.grid.bins;
    const auto off = [&](int bin) {
        return -2.0 * at.energy * run_out_deg * std::numbers::pi / 180.0 * std::sin(turn * bin + 0.7);
    };
    for (int b = 0; b < bench.grid.bins; ++b) at.difference[static_cast<std::size_t>(b)] += off(b + 1) - off(b);
}

TEST(PersistentMisfire, TwoSpeedsTellAnOpposedPairFromAWheelThatRunsOut) {
    for (const bool dead : {false, true})
        for (const bool both : {false, true}) {
            PatternBench bench(engine_of({1, 3, 4, 2}), 2500.0);
            bench.track(20);
            PerPlace work = bench.healthy(0.02);
            if (dead) work[1] = work[3] = 0.0;
            LearnedPattern<double> learned = bench.pattern(work);
            if (both) learned.fastest = rigid_pattern(bench, learned.difference, 6000.0);
            // The same wheel at both speeds: at the lower one it bends the pattern as much as the pair does.
            run_out(bench, dead ? 0.02 : 0.4, learned);
            if (both) run_out(bench, dead ? 0.02 : 0.4, learned.fastest);
            const auto found = named(bench.persistent.examine(learned, kSilent).missing);
            if (dead && both)
                EXPECT_EQ(found, (std::vector<int>{1, 3}));
            else
                EXPECT_TRUE(found.empty()) << dead << both;
        }
}

TEST(PersistentMisfire, FindsADeadCylinderBehindWheelError) {
    for (const NamedEngine& c : named_engines())
        for (unsigned seed = 0; seed < 7; ++seed) {
            PatternBench bench(c.engine);
            bench.track(20);
            const auto dead = static_cast<int>(seed) % c.engine.cylinders;
            PerPlace work = bench.healthy(0.02);
            work[static_cast<std::size_t>(dead)] = 0.0;
            LearnedPattern<double> learned = bench.pattern(work);
            const CycleOfBins wheel = wheel_error_differences(bench, learned.energy, 0.05, seed);
            for (std::size_t b = 0; b < wheel.size(); ++b) learned.difference[b] += wheel[b];
            EXPECT_EQ(named(bench.persistent.examine(learned, kSilent).missing), std::vector<int>{dead})
                << c.name << ", wheel " << seed;
        }
}

/// A pattern whose orders are each turned and stretched by `bend` (order of the crank, per revolution).
template <class Bend>
LearnedPattern<double> bent(const PatternBench& bench, LearnedPattern<double> pattern, const Bend& bend) {
    const int bins = bench.grid.bins;
    CycleOfBins out{};
    for (int m = 1; 2 * m < bins; ++m) {
        std::complex<double> sum = 0.0;
        for (int b = 0; b < bins; ++b)
            sum += pattern.difference[static_cast<std::size_t>(b)] *
                   std::polar(1.0, -2.0 * std::numbers::pi * m * b / bins);
        sum *= bend(0.5 * m) * 2.0 / static_cast<double>(bins);
        for (int b = 0; b < bins; ++b)
            out[static_cast<std::size_t>(b)] += std::real(sum * std::polar(1.0, 2.0 * std::numbers::pi * m * b / bins));
    }
    pattern.difference = out;
    return pattern;
}

TEST(PersistentMisfire, FindsADeadCylinderBehindADrivelineThatFrictionDamps) {
    // A dual-mass flywheel at its resonance turns the half order by 40 degrees: two inertias, a spring, a third of critical damping (any
    // textbook on vibration).
    for (const double hz : {9.0, 12.0, 15.0})
        for (int dead = 0; dead < 4; ++dead) {
            PatternBench bench(engine_of({1, 3, 4, 2}), 1800.0);
            bench.track(20);
            PerPlace work = bench.healthy(0.02);
            work[static_cast<std::size_t>(dead)] = 0.0;
            const auto seen = bent(bench, bench.pattern(work), [hz](double order) {
                const double ratio = order * 1800.0 / 60.0 / hz;
                const std::complex<double> spring(1.0, 2.0 * 0.3 * ratio);
                return (spring / 1.5 - ratio * ratio) / (spring - ratio * ratio);
            });
            EXPECT_EQ(named(bench.persistent.examine(seen, kSilent).missing), std::vector<int>{dead})
                << hz << ", " << dead;
        }
}

}  // namespace
}  // namespace kurbel::test
