// The estimator's memory of bins: differences, gaps, the ring's end, and the inertia of pistons and rods.
#include "kurbel/stage/bin_history.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "stage/wheel_edges.hpp"
#include "support/even_engine.hpp"

namespace kurbel::test {
namespace {

using History = BinHistory<double>;

Bin<double> bin_of(std::int64_t index, double energy, bool restart = false) {
    Bin<double> bin;
    bin.index = index;
    bin.begin_tick = 1000 * index + 7;
    bin.ticks = 1000.25;
    bin.energy = energy;
    bin.restart = restart;
    return bin;
}

/// Exact in binary, and different for every bin.
double energy_of(std::int64_t index) { return 5000.0 + static_cast<double>(index * index % 97) * 0.125; }

/// Bins [from, to) pushed.
void fill(History& history, std::int64_t from, std::int64_t to, bool restart = false) {
    for (std::int64_t i = from; i < to; ++i)
        history.push(bin_of(i, energy_of(i), restart && i == from), 0.001 * static_cast<double>(i), 1U << (i % 4),
                     i % 32);
}

History empty() {
    History history;
    Config config = car(even_wheel(60, {58, 59}));
    config.engine = without_pistons(config.engine);
    history.set_inertia(config.engine, make_cycle_grid(config.engine, config.crank_wheel));
    history.set_cycle(32);
    history.clear();
    return history;
}

TEST(BinHistory, KeepsDifferencesToTheNextBin) {
    History history = empty();
    EXPECT_FALSE(history.any());
    fill(history, 0, 40);
    ASSERT_TRUE(history.any());
    EXPECT_EQ(history.newest(), 39);
    EXPECT_EQ(history.oldest_connected(), 0);
    for (std::int64_t i = 0; i < 39; ++i) {
        EXPECT_EQ(history.raw(i), energy_of(i + 1) - energy_of(i));
        EXPECT_EQ(history.clean(i), history.raw(i));
        EXPECT_NEAR(history.load(i), 0.001 * static_cast<double>(i), 1e-8);  // kept as float
        EXPECT_EQ(history.cut(i), 1U << (i % 4));
    }
    EXPECT_EQ(history.clean_sum(3, 30), energy_of(30) - energy_of(3));
    EXPECT_TRUE(history.connected(0, 39)) << "the newest bin has no difference yet";
    EXPECT_FALSE(history.connected(0, 40));
    EXPECT_FALSE(history.holds(40));
}

TEST(BinHistory, TellsWhoWasCutAtTimesAndThroughout) {
    History history = empty();
    for (std::int64_t i = 0; i < 40; ++i)
        history.push(bin_of(i, energy_of(i)), 0.3, i < 10 ? 0U : (i < 20 ? 5U : 4U), i % 32);
    const auto expect = [&history](std::int64_t from, std::int64_t to, std::uint32_t any, std::uint32_t all) {
        EXPECT_EQ(history.cut_within(from, to).any, any) << from << " to " << to;
        EXPECT_EQ(history.cut_within(from, to).all, all) << from << " to " << to;
    };
    expect(0, 9, 0U, 0U);
    expect(9, 10, 5U, 0U);
    expect(10, 19, 5U, 5U);
    expect(19, 20, 5U, 4U);
    expect(15, 39, 5U, 4U);
    expect(20, 39, 4U, 4U);
    expect(-50, 39, 5U, 0U);
    expect(12, 12, 5U, 5U);
}

TEST(BinHistory, WhatIsTakenOutLeavesTheRawValue) {
    History history = empty();
    fill(history, 0, 10);
    history.take_out(4, 2.5);
    EXPECT_EQ(history.clean(4), history.raw(4) - 2.5);
    EXPECT_EQ(history.raw(4), energy_of(5) - energy_of(4));
    EXPECT_EQ(history.clean_sum(2, 8), energy_of(8) - energy_of(2) - 2.5);
}

TEST(BinHistory, TimesLieWithinTheBins) {
    History history = empty();
    fill(history, 0, 10);
    EXPECT_EQ(history.ticks_between(2, 6), 3000.0 + 1000.25);
    EXPECT_EQ(history.tick_within(5, 0.0), 5007);
    EXPECT_EQ(history.tick_within(5, 0.5), 5507);
    EXPECT_EQ(history.tick_within(5, -0.25), 5007 - 250);
}

TEST(BinHistory, NothingReachesAcrossALoss) {
    for (const bool told : {true, false}) {
        History history = empty();
        fill(history, 0, 20);
        fill(history, 25, 40, told);  // also a bare jump of the number is a loss
        EXPECT_EQ(history.oldest_connected(), 25);
        EXPECT_FALSE(history.holds(24));
        EXPECT_FALSE(history.connected(19, 30));
        EXPECT_TRUE(history.connected(25, 39));
        EXPECT_EQ(history.raw(25), energy_of(26) - energy_of(25));
        EXPECT_EQ(history.mean_energy(25), energy_of(25)) << "the running mean begins anew";
        EXPECT_EQ(history.load(10), history.load(39)) << "what is not held says what is known now";
    }
}

TEST(BinHistory, HoldsOneBinLessThanTheRing) {
    History history = empty();
    fill(history, 0, 1000);
    EXPECT_EQ(history.oldest_connected(), 1000 - (History::kRing - 1));
    EXPECT_TRUE(history.holds(history.oldest_connected()));
    EXPECT_FALSE(history.holds(history.oldest_connected() - 1));
    for (std::int64_t i = history.oldest_connected(); i < 999; ++i)
        EXPECT_EQ(history.raw(i), energy_of(i + 1) - energy_of(i));
    EXPECT_GE(History::kRing - 1, 4 * kMaxBins) << "four cycles of the finest grid";
    history.clear();
    EXPECT_FALSE(history.any());
    EXPECT_EQ(history.oldest_connected(), -1);
}

TEST(BinHistory, MeanFollowsWithinACycle) {
    History history = empty();
    for (std::int64_t i = 0; i < 96; ++i) history.push(bin_of(i, i == 0 ? 4000.0 : 5000.0), 0.3, 0, i % 32);
    // Exponential mean over a cycle of 32 bins: what is left of the first step after n bins is (1 - 1/32)^n.
    for (const std::int64_t i : {1, 32, 95})  // kept as float
        EXPECT_NEAR(history.mean_energy(i), 5000.0 - 1000.0 * std::pow(31.0 / 32.0, static_cast<double>(i)), 1e-3);
}

// A free crank without any torque keeps its energy: 1/2 J(angle) w^2 = const, J = J_rot + sum m r^2 f^2 with
// f = sin x + l sin x cos x / sqrt(1 - l^2 sin^2 x), l = crank radius over rod (Kiencke and Nielsen, Automotive Control
// Systems; from memory). The corrected bins must not show the swing of the speed.
TEST(BinHistory, PistonsAndRodsAreTakenOutOfAFreelyTurningCrank) {
    Config config = car(even_wheel(60, {58, 59}));
    config.engine.stroke_mm = 86.0;
    config.engine.rod_mm = 145.0;
    config.engine.reciprocating_kg = 0.5;
    config.engine.inertia_kg_m2 = 0.15;
    const CycleGrid grid = make_cycle_grid(config.engine, config.crank_wheel);
    const double radius_m = 0.043;
    const double ratio = radius_m / 0.145;
    const auto inertia = [&](double rad) {
        double sum = 0.15;
        for (int i = 0; i < 4; ++i) {
            const double x = rad - i * std::numbers::pi;
            const double s = std::sin(x);
            const double lever = s + ratio * s * std::cos(x) / std::sqrt(1.0 - ratio * ratio * s * s);
            sum += 0.5 * radius_m * radius_m * lever * lever;
        }
        return sum;
    };
    History history;
    history.set_inertia(config.engine, grid);
    history.set_cycle(grid.bins);
    history.clear();
    double highest = 0.0;
    double raw_highest = 0.0;
    double last = 0.0;
    for (std::int64_t b = 0; b < 96; ++b) {
        // Mean of 1/w over the bin, w = sqrt(2 * 5000 * 0.15 / J).
        double slowness = 0.0;
        for (int part = 0; part < 200; ++part) {
            const double rad = to_rad((static_cast<double>(b) + (part + 0.5) / 200.0) * grid.bin_deg);
            slowness += std::sqrt(inertia(rad) / (2.0 * 5000.0 * 0.15)) / 200.0;
        }
        const double energy = 0.5 / (slowness * slowness);
        history.push(bin_of(b, energy), 0.3, 0, b % grid.bins);
        if (b > 0) {
            highest = std::max(highest, std::fabs(history.raw(b - 1)));
            raw_highest = std::max(raw_highest, std::fabs(energy - last));
        }
        last = energy;
    }
    EXPECT_GT(raw_highest, 30.0);
    EXPECT_LT(highest, 1e-3 * raw_highest);  // what is left is the swing within a bin, squared
}

}  // namespace
}  // namespace kurbel::test
