// What is left of the bins after the pattern and the slow trend are taken out, on bins that are known exactly.
#include "kurbel/stage/residual_history.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <numbers>
#include <vector>

#include "stage/rigid_crank.hpp"
#include "support/even_engine.hpp"

namespace kurbel::test {
namespace {

using History = ResidualHistory<double>;

constexpr double kTimer_hz = 1.0e6;
constexpr double kStart = 12000.0;  // energy, rad^2/s^2: 1480 rpm

/// Bins of an inline four whose energy is told by number.
struct Stream : CrankParts {
    explicit Stream(const EngineConfig& engine = engine_of({1, 3, 4, 2})) : CrankParts(without_pistons(engine)) {
        config.timer.hz = kTimer_hz;
        history.configure(config, grid);
        history.begin_pattern(400.0);
    }

    void push(int count) {
        for (int n = 0; n < count; ++n, ++next) {
            Bin<double> bin;
            bin.index = next;
            bin.energy = energy(next);
            bin.ticks = to_rad(grid.bin_deg) / std::sqrt(2.0 * bin.energy) * kTimer_hz;
            bin.begin_tick = std::llround(tick);
            bin.restart = restart;
            restart = false;
            tick += bin.ticks;
            history.push(bin, load(next), cut(next));
        }
    }
    /// Residuals of `count` bins from `first` on.
    [[nodiscard]] std::vector<double> residuals(std::int64_t first, int count, double work = 1.0) const {
        Window x{};
        history.fill(first, count, work, x);
        std::vector<double> list;
        for (int j = 0; j < count; ++j) list.push_back(static_cast<double>(x[static_cast<std::size_t>(j)]));
        return list;
    }
    [[nodiscard]] double largest_residual(std::int64_t first, int count) const {
        double largest = 0.0;
        for (const double value : residuals(first, count)) largest = std::fmax(largest, std::fabs(value));
        return largest;
    }

    std::function<double(std::int64_t)> energy = [](std::int64_t) { return kStart; };
    std::function<double(std::int64_t)> load = [](std::int64_t) { return kUnknown; };
    std::function<std::uint32_t(std::int64_t)> cut = [](std::int64_t) { return 0U; };
    History history{};
    std::int64_t next = 0;
    bool restart = false;
    double tick = 5000.0;
};

TEST(ResidualHistory, ConstantAccelerationLeavesNothing) {
    // Constant torque on a rigid crank: energy rises by the same amount in every bin.
    for (const double per_bin : {2.5, -1.5}) {
        Stream stream;
        stream.energy = [per_bin](std::int64_t n) { return kStart + per_bin * static_cast<double>(n); };
        stream.push(3 * stream.grid.bins);
        EXPECT_LT(stream.largest_residual(stream.next - 1 - 34, 34), 2e-3);
        // A work scales what is left.
        EXPECT_NEAR(stream.history.bins().clean(stream.next - 5), per_bin, 2e-3);
    }
}

TEST(ResidualHistory, AStepOfTorqueShowsUntilACycleHasPassed) {
    Stream stream;
    const int bins = stream.grid.bins;
    const int step = 2 * bins;
    stream.energy = [step](std::int64_t n) { return kStart + (n > step ? 4.0 * static_cast<double>(n - step) : 0.0); };
    stream.push(4 * bins);
    EXPECT_NEAR(stream.residuals(step, 1)[0], 4.0, 2e-3);
    EXPECT_NEAR(stream.residuals(step + bins / 2, 1)[0], 2.0, 2e-3);
    EXPECT_NEAR(stream.residuals(step + bins, 1)[0], 0.0, 2e-3);
    EXPECT_NEAR(stream.residuals(step, 1, 8.0)[0], 0.5, 1e-3);
}

TEST(ResidualHistory, WithoutACycleBeforeNoTrendIsTakenOut) {
    Stream stream;
    stream.energy = [](std::int64_t n) { return kStart + 3.0 * static_cast<double>(n); };
    stream.push(stream.grid.bins / 2);
    EXPECT_NEAR(stream.residuals(5, 1)[0], 3.0, 2e-3);
}

TEST(ResidualHistory, TakesOutTheLearnedPattern) {
    // A pattern over the cycle, learned in a few cycles, over the end of the ring and the cycle.
    Stream stream;
    const int bins = stream.grid.bins;
    stream.energy = [bins](std::int64_t n) {
        return kStart + 60.0 * std::sin(2.0 * std::numbers::pi * 4.0 * static_cast<double>(n % bins) / bins);
    };
    stream.push(bins + 2);
    EXPECT_GT(stream.largest_residual(stream.next - 1 - bins / 2, bins / 2), 20.0);
    std::int64_t first = 0;
    for (int cycle = 0; cycle < 12; ++cycle, first += bins) {
        std::array<double, kMaxBins> residual{};
        PatternPoint<double> mean;
        stream.history.cycle(first, first + bins, residual, mean);
        double sum = 0.0;
        for (int b = 0; b < bins; ++b) sum += residual[static_cast<std::size_t>(b)];
        EXPECT_NEAR(sum, 0.0, 0.5) << "a cycle's residuals have no mean";
        EXPECT_NEAR(mean.energy, kStart, 100.0);
        stream.history.learn_pattern(residual, mean, 0.26);
        stream.push(bins);
    }
    EXPECT_EQ(stream.history.pattern().cycles(), 12);
    for (int back = 35; back < 200; back += 11)
        EXPECT_LT(stream.largest_residual(stream.next - 1 - back, 34), 1.0) << back;
}

TEST(ResidualHistory, ASlowSwingIsHardlyTakenForPattern) {
    // A driveline that swings once in four cycles, beside a pattern of the second order. The mean over one cycle of a sine of this
    // period keeps sin(x)/x of it at x = pi/4, so that a tenth is left where the whole cycle's mean alone leaves most of the slope.
    Stream stream;
    const int bins = stream.grid.bins;
    const auto angle = [bins](std::int64_t n, double per_cycle) {
        return 2.0 * std::numbers::pi * per_cycle * static_cast<double>(n) / bins;
    };
    stream.energy = [&angle](std::int64_t n) {
        return kStart + 400.0 * std::sin(angle(n, 0.25)) + 5.0 * std::sin(angle(n, 4.0));
    };
    stream.push(4 * bins);
    const auto left = [&](int until) {
        std::array<double, kMaxBins> residual{};
        PatternPoint<double> mean;
        stream.history.cycle(bins, until, residual, mean);
        double most = 0.0;
        for (int b = 0; b < bins; ++b) {
            const double pattern = 5.0 * (std::sin(angle(b + 1, 4.0)) - std::sin(angle(b, 4.0)));
            most = std::max(most, std::fabs(residual[static_cast<std::size_t>(b)] - pattern));
        }
        return most;
    };
    const double swing = 400.0 * angle(1, 0.25);  // in one bin, at most
    EXPECT_LT(left(3 * bins), 0.11 * swing);
    EXPECT_GT(left(2 * bins), 0.15 * swing) << "without what follows the cycle its second half is not told";
}

TEST(ResidualHistory, CycleIsSortedByPlaceAndMeansItsOperatingPoint) {
    Stream stream;
    const int bins = stream.grid.bins;
    stream.history.expect_load(0.3);
    stream.load = [bins](std::int64_t n) { return n < bins ? 0.25 : 0.75; };
    stream.energy = [](std::int64_t n) { return kStart + (n == 30 ? 5.0 : 0.0); };
    stream.push(3 * bins);
    std::array<double, kMaxBins> residual{};
    PatternPoint<double> mean;
    stream.history.cycle(bins / 2, bins / 2 + bins, residual, mean);
    EXPECT_NEAR(mean.load, 0.5, 1e-6);
    EXPECT_NEAR(residual[29], 5.0, 2e-3);
    EXPECT_NEAR(residual[30], -5.0, 2e-3);
    // Turned by half a cycle the same bins have other places.
    stream.history.set_turn(bins / 2);
    stream.history.cycle(bins / 2, bins / 2 + bins, residual, mean);
    EXPECT_NEAR(residual[static_cast<std::size_t>((29 + bins / 2) % bins)], 5.0, 2e-3);
}

TEST(ResidualHistory, KnowsPlacesAndFiringsOfTheFrame) {
    Stream stream;
    const int bins = stream.grid.bins;
    EXPECT_EQ(stream.history.place_in_cycle(3 * bins + 7), 7);
    EXPECT_EQ(stream.history.firing_at(5 * bins), 0);
    EXPECT_EQ(stream.history.firing_at(5 * bins + bins / 4), 1);
    EXPECT_EQ(stream.history.firing_at(5 * bins + 1), -1);
    stream.history.set_turn(bins / 2);
    EXPECT_EQ(stream.history.turn(), bins / 2);
    EXPECT_EQ(stream.history.firing_at(5 * bins), 2);
}

TEST(ResidualHistory, ChargeIsThatOf150DegreesBefore) {
    Stream stream;
    stream.load = [](std::int64_t n) { return 0.001 * static_cast<double>(n); };
    stream.push(50);
    EXPECT_TRUE(std::isnan(stream.history.charge_load(45)));
    // What was before the first value is taken to have been the same.
    stream.history.expect_load(0.3);
    EXPECT_NEAR(stream.history.charge_load(45), 0.3, 1e-6);
    stream.push(2 * stream.grid.bins - 50);
    const auto back = static_cast<std::int64_t>(std::lround(150.0 / stream.grid.bin_deg));
    EXPECT_NEAR(static_cast<double>(back) * stream.grid.bin_deg, 150.0, 0.5 * stream.grid.bin_deg);
    EXPECT_NEAR(stream.history.charge_load(60), 0.001 * static_cast<double>(60 - back), 1e-6);
    EXPECT_NEAR(stream.history.point(60).load, 0.060, 1e-6);
}

TEST(ResidualHistory, AFiringWasCutSinceItsIntakeEnded) {
    Stream stream;
    // Place 2 alone, from bin 100 to 129.
    stream.cut = [](std::int64_t n) { return n >= 100 && n < 130 ? 4U : 0U; };
    stream.push(6 * stream.grid.bins);
    // Half a revolution, and a bin or two that a change may be told late by.
    const auto back = static_cast<std::int64_t>(std::ceil(180.0 / stream.grid.bin_deg)) + 2;
    EXPECT_FALSE(stream.history.was_cut(99, 2));
    EXPECT_TRUE(stream.history.was_cut(100, 2));
    EXPECT_FALSE(stream.history.was_cut(105, 1));
    EXPECT_TRUE(stream.history.was_cut(129 + back, 2));
    EXPECT_FALSE(stream.history.was_cut(130 + back, 2));
    // Fuel that came in before the cut began, or after it was told to have ended, may have burned.
    const auto turn = static_cast<std::int64_t>(std::ceil(360.0 / stream.grid.bin_deg));
    EXPECT_FALSE(stream.history.was_cut_throughout(99 + turn, 2));
    EXPECT_TRUE(stream.history.was_cut_throughout(100 + turn, 2));
    EXPECT_FALSE(stream.history.was_cut_throughout(100 + turn, 1));
    EXPECT_TRUE(stream.history.was_cut_throughout(129, 2));
    EXPECT_FALSE(stream.history.was_cut_throughout(130, 2));
}

TEST(ResidualHistory, SameFuelLooksACycleBack) {
    Stream stream;
    const int bins = stream.grid.bins;
    const std::int64_t back = 3 * bins;  // fuel comes back here
    stream.cut = [back](std::int64_t n) { return n < back ? 15U : 0U; };
    stream.push(5 * bins);
    EXPECT_TRUE(stream.history.same_fuel(back - bins / 2, back - 1));
    EXPECT_FALSE(stream.history.same_fuel(back - 2, back));
    EXPECT_FALSE(stream.history.same_fuel(back, back + 3));
    EXPECT_FALSE(stream.history.same_fuel(back + bins - 1, back + bins + 3));
    EXPECT_TRUE(stream.history.same_fuel(back + bins, back + bins + 3));
    // At the beginning of a stream only what is there can be compared.
    Stream young;
    young.push(bins / 2);
    EXPECT_TRUE(young.history.same_fuel(2, bins / 2 - 1));
}

TEST(ResidualHistory, ARingingCrankIsTakenOutCompletely) {
    // A misfire at bin 90 leaves a damped oscillation of differences that a recurrence of two terms describes.
    constexpr double kOmega = 0.9;
    constexpr double kDamping = 0.05;
    const double a = 2.0 * std::exp(-kDamping) * std::cos(kOmega);
    const double b = std::exp(-2.0 * kDamping);
    const auto difference = [](std::int64_t n) {
        return n < 90 ? 0.0
                      : 30.0 * std::exp(-kDamping * static_cast<double>(n - 90)) *
                            std::cos(kOmega * static_cast<double>(n - 90) + 0.3);
    };
    // What the misfire left is told when later bins are there already, or while the very next one is still to come.
    for (const int told : {130, 100}) {
        Stream stream;
        double energy = kStart;
        std::int64_t reached = 0;
        stream.energy = [&](std::int64_t n) {
            while (reached < n) energy += difference(reached++);
            return energy;
        };
        stream.history.set_ringing(a, b);
        stream.push(told);
        const std::int64_t last = 97;
        stream.history.add_ringing(last, difference(last), difference(last - 1));
        stream.push(60);
        for (std::int64_t n = last + 1; n + 1 < stream.next; ++n)
            EXPECT_NEAR(stream.history.bins().clean(n), 0.0, 0.01) << "told at " << told << ", bin " << n;
        // Nothing was taken out before, and what was measured stays as it was.
        EXPECT_NEAR(stream.history.bins().clean(last), difference(last), 0.01);
        EXPECT_NEAR(stream.history.bins().raw(last + 3), difference(last + 3), 0.01);
    }
}

TEST(ResidualHistory, TwoRingingsAddUpAndEndWithTheStretch) {
    const double a = 1.2;
    const double b = 0.9;
    Stream both;
    Stream one;
    for (Stream* stream : {&both, &one}) {
        stream->history.set_ringing(a, b);
        stream->push(100);
    }
    both.history.add_ringing(80, 3.0, 1.0);
    both.history.add_ringing(90, -1.0, 2.0);
    one.history.add_ringing(80, 3.0, 1.0);
    Stream other;
    other.history.set_ringing(a, b);
    other.push(100);
    other.history.add_ringing(90, -1.0, 2.0);
    both.push(40);
    one.push(40);
    other.push(40);
    for (std::int64_t n = 91; n < 135; ++n)
        EXPECT_NEAR(both.history.bins().clean(n), one.history.bins().clean(n) + other.history.bins().clean(n), 1e-4)
            << n;
    EXPECT_GT(std::fabs(both.history.bins().clean(120)), 1e-3);
    // After a gap nothing rings on.
    both.next += 10;
    both.restart = true;
    both.push(20);
    for (std::int64_t n = both.next - 19; n + 1 < both.next; ++n) EXPECT_EQ(both.history.bins().clean(n), 0.0) << n;
}

TEST(ResidualHistory, SpeedIsTheMeanOverTheCycleAround) {
    Stream stream;
    stream.push(3 * stream.grid.bins);
    const double rpm = std::sqrt(2.0 * kStart) * 30.0 / std::numbers::pi;
    EXPECT_NEAR(stream.history.speed_around(50), rpm, 0.01);
    // At the end, where half of that cycle is missing, over what is there.
    EXPECT_NEAR(stream.history.speed_around(stream.next - 1), rpm, 0.01);
    EXPECT_NEAR(stream.history.speed_around(0), rpm, 0.01);
    Stream two_stroke(even_engine(3, 2));
    two_stroke.push(60);
    EXPECT_NEAR(two_stroke.history.speed_around(30), rpm, 0.05);
}

TEST(ResidualHistory, AccelerationIsEnergyGainedOverAngle) {
    // Energy is half of speed squared, so its slope over angle is angular acceleration.
    constexpr double kAcceleration = 40.0;  // rad/s^2
    Stream stream;
    const double per_bin = kAcceleration * to_rad(stream.grid.bin_deg);
    stream.energy = [per_bin](std::int64_t n) { return kStart + per_bin * static_cast<double>(n); };
    stream.push(3 * stream.grid.bins);
    EXPECT_NEAR(stream.history.acceleration(stream.grid.bins, 0), kAcceleration, 0.01);
    EXPECT_NEAR(stream.history.acceleration(stream.grid.bins + 3 * stream.grid.bins / 4, 3), kAcceleration, 0.01);
    EXPECT_TRUE(std::isnan(stream.history.acceleration(stream.next - 4, 0)));
}

}  // namespace
}  // namespace kurbel::test
