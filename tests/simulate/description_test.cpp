#include "kurbel/simulate/description.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

TEST(MachineFigures, AreThoseOfTheEngine) {
    const MachineFigures figures = machine_figures(test::inline_four());
    EXPECT_NEAR(figures.displacement_l, 4.0 * 0.499557, 1e-4);  // of 86 x 86 mm; arithmetic
    EXPECT_EQ(figures.interval_deg, (std::vector<double>{180.0, 180.0, 180.0, 180.0}));
    EXPECT_NEAR(figures.rotating_kg_m2, 0.16, 1e-12);
    EXPECT_EQ(figures.masses.size(), 6U);
    EXPECT_EQ(figures.masses.front(), "pulley");
    EXPECT_EQ(figures.masses.back(), "flywheel");
    ASSERT_EQ(figures.modes.size(), 5U);
    EXPECT_NEAR(figures.modes[0].hz, 400.0, 1e-6);
    // Mode i of a free chain has i nodes.
    for (std::size_t i = 0; i < 5; ++i) {
        std::size_t nodes = 0;
        const std::vector<double>& shape = figures.modes[i].shape;
        for (std::size_t m = 1; m < shape.size(); ++m) nodes += shape[m - 1] * shape[m] < 0.0 ? 1U : 0U;
        EXPECT_EQ(nodes, i + 1);
    }
}

TEST(MachineFigures, InGearTheShuffleComesFirst) {
    const MachineFigures figures = machine_figures(test::in_gear(test::inline_four(), 2000.0, 0.5));
    EXPECT_EQ(figures.masses.back(), "vehicle");
    EXPECT_NEAR(figures.modes[0].hz, 5.0, 0.2);
    EXPECT_NEAR(figures.modes[0].shape.front(), 1.0, 1e-3);
    EXPECT_LT(figures.modes[0].shape.back(), 0.0);
}

// E/(J w) is what a rigid crank loses (Newton); this one is stiff enough at low speed to lose as much, less what the lost charge saves
// in the gas exchange.
TEST(RunningFigures, ALostFiringCostsItsWork) {
    Scenario s = test::inline_four();
    s.combustion.spread = 0.0;
    const RunningFigures figures = running_figures(s);
    ASSERT_TRUE(figures.runs);
    EXPECT_NEAR(figures.speed_rpm, 800.0, 4.0);
    EXPECT_NEAR(figures.brake_nm, 0.0, 1.5);
    EXPECT_NEAR(figures.drop_rpm, figures.rigid_drop_rpm, 0.1 * figures.rigid_drop_rpm);
    EXPECT_GT(figures.swing_rpm, 10.0);
    EXPECT_NEAR(figures.imep_bar, figures.work_j / 49.9557, 1e-3);
}

TEST(RunningFigures, DoNotDependOnFaultsAndScatter) {
    Scenario s = test::in_gear(test::inline_four(), 1500.0, 0.5);
    const RunningFigures plain = running_figures(s);
    s.combustion.scatter = 0.2;
    MisfireRule rule;
    rule.rate = 0.3;
    s.misfires = {rule};
    s.wheel_error.pitch_deg = 0.1;
    s.has_timer = true;
    s.timer = {1e6, 16};
    const RunningFigures faulty = running_figures(s);
    EXPECT_EQ(plain.swing_rpm, faulty.swing_rpm);
    EXPECT_EQ(plain.drop_rpm, faulty.drop_rpm);
}

TEST(RunningFigures, AnEngineThatStallsSaysSo) {
    Scenario s = test::inline_four();
    s.friction.accessories_nm = 500.0;
    EXPECT_FALSE(running_figures(s).runs);
}

TEST(RunningFigures, CrankingHasASwingButNoLostFiring) {
    Scenario s = test::inline_four();
    s.operation.mode = Operation::cranking;
    s.operation.load = Profile(0.98);
    s.operation.speed_rpm = Profile(300.0);
    s.settle_s = 0.0;
    s.fuel_cuts = {{}};
    const RunningFigures figures = running_figures(s);
    ASSERT_TRUE(figures.runs);
    EXPECT_GT(figures.speed_rpm, 120.0);
    EXPECT_LT(figures.speed_rpm, 300.0);
    EXPECT_GT(figures.swing_rpm, 50.0);
    EXPECT_TRUE(std::isnan(figures.drop_rpm));
}

TEST(Description, StaysInTheGearThatARunWithGearChangesBeginsIn) {
    Scenario s = test::inline_four();
    s.operation.mode = Operation::road;
    s.operation.speed_rpm = Profile(2500.0);
    s.operation.load = Profile(0.5);
    s.gearbox.ratios = {3.6, 2.0, 1.4};
    s.gearbox.gear = {{0.0, 2}, {1.0, 3}};
    s.tyre.on = true;
    const RunningFigures figures = running_figures(s);
    EXPECT_TRUE(figures.runs);
    EXPECT_NEAR(figures.speed_rpm, 2500.0, 30.0);
}

}  // namespace
}  // namespace kurbel::simulate
