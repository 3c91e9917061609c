// Slider-crank and Wiebe against values computed beforehand by hand from the formulas of Heywood, Internal Combustion Engine
// Fundamentals, 1988: eq. 2.6 (volume), 2.5 (piston), 2.11 (piston speed), 9.5 (Wiebe). Equation numbers from memory.
// Bore = stroke = 86 mm, rod 145 mm, compression ratio 10.
#include <gtest/gtest.h>

#include <array>
#include <cmath>

#include "kurbel/simulate/combustion.hpp"
#include "kurbel/simulate/cylinder.hpp"
#include "kurbel/simulate/geometry.hpp"
#include "kurbel/simulate/mean_torque.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

constexpr double kDeg = portable::kPi / 180.0;

class Square86 : public ::testing::Test {
  protected:
    EngineConfig engine = test::inline_four().engine;
    SliderCrank geometry = SliderCrank::from(engine);
    std::array<double, 8> angle_deg{0, 30, 45, 60, 90, 120, 150, 180};
};

TEST_F(Square86, Volumes) {
    EXPECT_NEAR(geometry.displacement_m3() * 1e6, 499.557, 5e-4);
    EXPECT_NEAR(geometry.clearance_m3 * 1e6, 55.506, 5e-4);
    const std::array<double, 8> ratio{1.0000, 1.7706, 2.6554, 3.7590, 6.1826, 8.2590, 9.5649, 10.0000};
    for (std::size_t i = 0; i < ratio.size(); ++i)
        EXPECT_NEAR(geometry.volume_m3(angle_deg[i] * kDeg) / geometry.clearance_m3, ratio[i], 5.1e-5) << angle_deg[i];
}

TEST_F(Square86, PistonTravel) {
    const std::array<double, 8> travel_mm{0, 7.364, 15.818, 26.363, 49.523, 69.363, 81.842, 86.000};
    for (std::size_t i = 0; i < travel_mm.size(); ++i)
        EXPECT_NEAR(geometry.motion(angle_deg[i] * kDeg).travel_m * 1e3, travel_mm[i], 5.1e-4) << angle_deg[i];
}

TEST_F(Square86, PistonSpeed) {
    // Mean piston speed is two strokes a turn, so the ratio to it is slope * 2 pi / (2 stroke).
    const double per_mean = portable::kPi / 0.086;
    const std::array<double, 8> ratio{0, 0.9894, 1.3489, 1.5691, 1.5708, 1.1516, 0.5814, 0};
    for (std::size_t i = 0; i < ratio.size(); ++i)
        EXPECT_NEAR(geometry.motion(angle_deg[i] * kDeg).slope_m * per_mean, ratio[i], 5.1e-5) << angle_deg[i];
    double highest = 0.0;
    double where = 0.0;
    for (double x = 60.0; x < 90.0; x += 0.01) {
        const double here = geometry.motion(x * kDeg).slope_m * per_mean;
        if (here > highest) {
            highest = here;
            where = x;
        }
    }
    EXPECT_NEAR(highest, 1.6389, 5.1e-5);
    EXPECT_NEAR(where, 74.67, 0.02);
}

TEST_F(Square86, CompressionFromOneBar) {
    // p_TDC = 10^n bar; work = (p2 V2 - p1 V1) / (n - 1) = 184.1 J, less 1 bar times the displacement under the piston: 134.2 J.
    for (const auto& [exponent, tdc_bar] : {std::pair{1.30, 19.953}, {1.35, 22.387}}) {
        CombustionSettings combustion;
        combustion.ambient_bar = 1.0;
        combustion.compression_exponent = exponent;
        combustion.expansion_exponent = exponent;
        GasExchangeSettings valves;
        valves.intake_closing_deg = -179.999;  // the compression of the text book begins at the bottom
        const CylinderModel cylinder(engine, combustion, valves);
        Charge charge;
        charge.trapped_pa = 1e5;
        EXPECT_NEAR(cylinder.pressure_pa(0.0, 100.0, 1e5, charge) * 1e-5, tdc_bar, 5.1e-4);
        if (exponent > 1.32) continue;
        double gross = 0.0;
        double net = 0.0;
        double peak = 0.0;
        double peak_deg = 0.0;
        const double step = 0.01 * kDeg;
        for (double x = -180.0 + 0.005; x < 0.0; x += 0.01) {
            const double pressure = cylinder.pressure_pa(x * kDeg, 100.0, 1e5, charge);
            gross -= pressure * geometry.area_m2 * geometry.motion(x * kDeg).slope_m * step;
            const double torque = cylinder.torque(x * kDeg, 100.0, 1e5, charge).gas_nm;
            net -= torque * step;
            if (torque < peak) {
                peak = torque;
                peak_deg = x;
            }
        }
        EXPECT_NEAR(gross, 184.1, 0.06);
        EXPECT_NEAR(net, 134.2, 0.06);
        EXPECT_NEAR(peak, -139.4, 0.06);
        EXPECT_NEAR(peak_deg, -24.0, 0.6);
    }
}

TEST(Wiebe, Values) {
    EXPECT_NEAR(wiebe(0.25), 0.0752, 5.1e-5);
    EXPECT_NEAR(wiebe(0.50), 0.4647, 5.1e-5);
    EXPECT_NEAR(wiebe(0.75), 0.8787, 5.1e-5);
    EXPECT_NEAR(wiebe(1.00), 0.9933, 5.1e-5);
    EXPECT_NEAR(wiebe(0.2762), 0.10, 1e-4);
    EXPECT_NEAR(wiebe(0.5175), 0.50, 1e-4);
    EXPECT_NEAR(wiebe(0.7722), 0.90, 1e-4);
    EXPECT_NEAR(wiebe(kWiebeHalf), 0.50, 1e-5);
}

// Heywood 1988, ch. 13 (value from memory): four-cylinder petrol engine of 0.85 to 2.0 l at full load, total friction with
// pumping: 0.97 + 0.15 N + 0.05 N^2 bar, N in 1000 rpm: 1.17 / 1.87 / 3.67 bar at 1000 / 3000 / 6000 rpm. The simulator computes
// pumping apart; the sum must come near: within a fifth.
TEST(Friction, WithPumpingComesNearTheHandbook) {
    Scenario s = test::without_scatter(test::inline_four());
    s.friction.accessories_nm = 0.0;
    const CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
    const Friction friction(s);
    const double displacement = 4.0 * cylinder.geometry().displacement_m3();
    Charge charge;
    charge.trapped_pa = manifold_pa(s.combustion, 1.0);
    for (const auto& [rpm, handbook_bar] : {std::pair{1000.0, 1.17}, {3000.0, 1.87}, {6000.0, 3.67}}) {
        const double speed = rpm * portable::kPi / 30.0;
        const double pumping_j = -4.0 * cylinder.cycle_work_j(speed, charge.trapped_pa, charge);
        const double mep_bar = 1e-5 * (friction.torque_nm(speed) * 4.0 * portable::kPi + pumping_j) / displacement;
        EXPECT_NEAR(mep_bar / handbook_bar, 1.0, 0.2) << rpm;
    }
}

}  // namespace
}  // namespace kurbel::simulate
