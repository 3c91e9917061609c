// Cycles of teeth in blocks: which are taken, which end a block, and what is left beyond the slow patterns.
#include "kurbel/stage/pitch_blocks.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "stage/wheel_edges.hpp"

namespace kurbel::test {
namespace {

struct Blocks {
    Blocks() {
        const WheelConfig wheel = even_wheel(36, {35});
        teeth = wheel.teeth;
        basis.build(wheel);
        halves.build(wheel, 4);
        cycle.speed_rad_s = 150.0;
        cycle.load = 0.4;
        cycle.half_square = 1e-3;
    }
    void push(int times = 1) {
        for (int n = 0; n < times; ++n) blocks.push(cycle, seems, half, basis, halves, teeth);
    }

    int teeth = 0;
    WheelBasis basis{};
    HalfOrders halves{};
    CycleOfTeeth cycle{};
    std::array<double, kMaxTeeth> seems{};
    std::array<double, kMaxTeeth> half{};
    PitchBlocks<double> blocks{};
};

TEST(PitchBlocks, ACycleWhoseRevolutionsDifferMuchMoreThanUsualIsLeftOut) {
    Blocks b;
    b.push(40);
    EXPECT_EQ(b.blocks.cycles(), 40);
    b.cycle.half_square = 1e-1;  // ten times as far apart: a lost combustion
    b.push();
    EXPECT_EQ(b.blocks.cycles(), 40);
    b.cycle.half_square = 1e-3;
    b.push();
    EXPECT_EQ(b.blocks.cycles(), 41);
}

TEST(PitchBlocks, ABlockHoldsCyclesAtOneSpeedAndFuel) {
    Blocks b;
    b.push(3);
    EXPECT_EQ(b.blocks.blocks(), 0);
    b.cycle.speed_rad_s = 160.0;
    b.push(3);
    EXPECT_EQ(b.blocks.blocks(), 1);
    b.cycle.fires = false;
    b.push(1);
    EXPECT_EQ(b.blocks.blocks(), 2);
    b.push(3);
    EXPECT_EQ(b.blocks.blocks(), 3);
    EXPECT_EQ(b.blocks.weight(), 10.0);
}

TEST(PitchBlocks, WhatIsLeftOfASlowPatternIsNothingAndOfASingleToothMostOfIt) {
    Blocks b;
    for (int j = 0; j < b.teeth; ++j)
        b.seems[static_cast<std::size_t>(j)] = 0.05 * static_cast<double>(b.basis.pattern(1)[j]);
    b.push(8);
    for (int j = 0; j < b.teeth; ++j) EXPECT_NEAR(b.blocks.rest(j), 0.0, 1e-6) << j;
    b.blocks.reset();
    b.seems.fill(0.0);
    b.seems[7] = 0.1;
    b.push(8);
    // One tooth holds its share of the mean and of each pattern.
    EXPECT_NEAR(b.blocks.rest(7), 0.1 * (1.0 - b.basis.leverage(7)), 1e-6);
    double sum = 0.0;
    for (int j = 0; j < b.teeth; ++j) sum += b.blocks.rest(j);
    EXPECT_NEAR(sum, 0.0, 1e-7);
}

}  // namespace
}  // namespace kurbel::test
