#include "kurbel/simulate/cylinder.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "kurbel/simulate/mean_torque.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

constexpr double kDeg = portable::kPi / 180.0;

class Cylinder : public ::testing::Test {
  protected:
    Scenario scenario = test::without_scatter(test::inline_four());
    CylinderModel model{scenario.engine, scenario.combustion, scenario.gas_exchange};

    [[nodiscard]] double work_j(double from_deg, double to_deg, const Charge& charge, double manifold) const {
        const int steps = 4000;
        const double step = (to_deg - from_deg) * kDeg / steps;
        double sum = 0.0;
        for (int i = 0; i < steps; ++i)
            sum += model.torque(from_deg * kDeg + (i + 0.5) * step, 80.0, manifold, charge).gas_nm * step;
        return sum;
    }
};

TEST_F(Cylinder, WithoutHeatGivesBackWhatCompressionTook) {
    Charge charge;
    charge.trapped_pa = 0.5e5;
    // Only the joins at the valves differ between the way up and the way down.
    const double up = work_j(-140, 0, charge, 0.5e5);
    const double down = work_j(0, 140, charge, 0.5e5);
    EXPECT_LT(up, -40.0);
    EXPECT_NEAR(work_j(-120, 120, charge, 0.5e5), 0.0, 1e-3);
    EXPECT_NEAR(up + down, 0.0, 3.0);
}

TEST_F(Cylinder, PressureAndItsSlopeAreSmoothAllAroundTheCycle) {
    const Charge charge = nominal_charge(scenario, model, 0.5);
    const double manifold = charge.trapped_pa;
    const double step = 0.01 * kDeg;
    double worst = 0.0;
    for (double x = -359.9; x < 359.9; x += 0.01) {
        const double before = model.pressure_pa((x * kDeg) - step, 80.0, manifold, charge);
        const double here = model.pressure_pa(x * kDeg, 80.0, manifold, charge);
        const double after = model.pressure_pa((x * kDeg) + step, 80.0, manifold, charge);
        worst = std::max(worst, std::fabs(after - 2.0 * here + before));
        ASSERT_GT(here, 1e4) << x;
    }
    // A jump of pressure would show as itself, a kink of 1 bar a degree as 1000 Pa.
    EXPECT_LT(worst, 30.0);
}

TEST_F(Cylinder, GrossWorkIsLinearInHeat) {
    Charge charge = nominal_charge(scenario, model, 0.5);
    const double heat = charge.heat_j;
    const double full = work_j(-180, 180, charge, charge.trapped_pa);
    charge.heat_j = 0.5 * heat;
    const double half = work_j(-180, 180, charge, charge.trapped_pa);
    charge.heat_j = 0.0;
    const double none = work_j(-180, 180, charge, charge.trapped_pa);
    EXPECT_NEAR(half, 0.5 * (full + none), 1e-9 * full);
    EXPECT_GT(full, 150.0);
    EXPECT_NEAR(none, 0.0, 3.0);
}

TEST_F(Cylinder, LeakLowersPressureMoreWhenTheEngineTurnsSlowly) {
    Charge charge;
    charge.trapped_pa = 1e5;
    const double tight = model.pressure_pa(0.0, 20.0, 1e5, charge);
    charge.leak_rad_s = 5.0;
    charge.closing_rad_s = 20.0;
    const double slow = model.pressure_pa(0.0, 20.0, 1e5, charge);
    charge.closing_rad_s = 200.0;
    const double fast = model.pressure_pa(0.0, 20.0, 1e5, charge);
    EXPECT_LT(slow, 0.9 * tight);
    EXPECT_GT(fast, 0.97 * tight);
}

TEST_F(Cylinder, ReciprocatingTorqueIsTheDerivativeOfItsEnergy) {
    Charge charge;
    charge.trapped_pa = 1e5;
    const double e = 1e-4;
    for (double x = -3.0; x < 3.1; x += 0.17) {
        const CylinderTorque here = model.torque(x, 100.0, 1e5, charge);
        const double before = model.torque(x - e, 100.0, 1e5, charge).inertia_kg_m2;
        const double after = model.torque(x + e, 100.0, 1e5, charge).inertia_kg_m2;
        EXPECT_NEAR(here.inertia_slope_kg_m2, 0.5 * (after - before) / (2 * e), 1e-8) << x;
    }
}

TEST_F(Cylinder, MoreChargeGivesMoreMeanTorque) {
    const Friction friction(scenario);
    const MeanTorque mean(scenario, model, friction);
    const double speed = 200.0;
    EXPECT_LT(mean.torque_nm(0.2, speed), mean.torque_nm(0.4, speed));
    EXPECT_LT(mean.torque_nm(0.4, speed), mean.torque_nm(0.9, speed));
    EXPECT_LT(mean.motored_nm(0.4, speed), 0.0);
    EXPECT_NEAR(mean.torque_nm(mean.load_for(70.0, speed), speed), 70.0, 1e-9);
}

TEST_F(Cylinder, TwoStrokeBreathesAtTheBottom) {
    Scenario two = scenario;
    two.engine.strokes = 2;
    make_even_firing(two.engine);
    two.gas_exchange.intake_closing_deg = -100.0;
    two.gas_exchange.exhaust_opening_deg = 100.0;
    const CylinderModel cylinder(two.engine, two.combustion, two.gas_exchange);
    const Charge charge = nominal_charge(two, cylinder, 0.8);
    const double bottom = cylinder.pressure_pa(portable::kPi, 100.0, charge.trapped_pa, charge);
    EXPECT_NEAR(bottom, charge.trapped_pa, 1.0);
    EXPECT_GT(cylinder.cycle_work_j(100.0, charge.trapped_pa, charge), 100.0);
}

}  // namespace
}  // namespace kurbel::simulate
