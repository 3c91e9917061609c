// Load from what engines measure, against handbook numbers and against limits that any formula must meet.
#include "kurbel/channel/load.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace kurbel::channel {
namespace {

TEST(LoadFromPressure, IsTheRatioOfPressuresUnlessResidualGasIsAskedFor) {
    EXPECT_DOUBLE_EQ(load_from_manifold_pressure(50.6625), 0.5);
    EXPECT_NEAR(load_from_manifold_pressure(45.0, {.barometric_kpa = 90.0}), 0.5, 1e-12);
}

// The ideal cycle's volumetric efficiency as Heywood writes it (1988, eq. 6.2, from memory), worked by hand for r = 10,
// gamma = 1.3, intake at 50 and 100 kPa, exhaust at 100: 10/9 - (2 + 0.3)/(1.3*9) = 0.914530; 10/9 - 1.3/11.7 = 1.
TEST(LoadFromPressure, TakesResidualGasOffAsTheIdealCycleDoes) {
    const PressureToLoad how{.barometric_kpa = 100.0, .compression_ratio = 10.0};
    EXPECT_NEAR(load_from_manifold_pressure(100.0, how), 1.0, 1e-12);
    EXPECT_NEAR(load_from_manifold_pressure(50.0, how), 0.5 * 0.914530, 1e-6);
    EXPECT_EQ(load_from_manifold_pressure(5.0, how), 0.0);  // nothing fresh is left
}

TEST(LoadFromPressure, GuessesNothing) {
    EXPECT_TRUE(std::isnan(load_from_manifold_pressure(kUnknown)));
    EXPECT_TRUE(std::isnan(load_from_manifold_pressure(-3.0)));
    EXPECT_TRUE(std::isnan(load_from_manifold_pressure(50.0, {.barometric_kpa = 1.013})));  // bar for kPa
}

// ISO 2533: 1.225 kg/m^3 at sea level.
TEST(LoadFromAir, KnowsTheStandardAtmosphere) {
    EXPECT_NEAR(density({kStandardPressure_kpa, 15.0}), 1.225, 5e-4);
    EXPECT_NEAR(load_from_air_per_stroke(0.5 * 1.225 * 500.0, 500.0, {kStandardPressure_kpa, 15.0}), 0.5, 1e-3);
}

TEST(LoadFromAir, TurnsAFlowIntoStrokes) {
    // 2 litres at 3000/min take 50 litres a second: 50 l of reference air a second is a full load.
    const ReferenceAir air{100.0, 25.0};
    const double full_g_s = 50.0 * density(air);
    EXPECT_NEAR(load_from_air_flow(full_g_s, 3000.0, 2000.0, 4, air), 1.0, 1e-12);
    EXPECT_NEAR(load_from_air_flow(full_g_s, 3000.0, 2000.0, 2, air), 0.5, 1e-12);
    EXPECT_TRUE(std::isnan(load_from_air_flow(full_g_s, 0.0, 2000.0)));
}

// Choked flow of air: 0.0404 p0 A / sqrt(T0) in SI units, as gas-dynamics handbooks give it (gamma 1.4, R 287; from memory).
TEST(Throttle, ChokesAsTheHandbooksSay) {
    const double expected = 0.0404 * 101325.0 * 100e-6 / std::sqrt(293.15);
    EXPECT_NEAR(throttle_flow_kg_s(100.0, 101.325, 20.0, 20.0), expected, 2e-3 * expected);
    EXPECT_DOUBLE_EQ(throttle_flow_kg_s(100.0, 101.325, 20.0, 20.0), throttle_flow_kg_s(100.0, 101.325, 20.0, 50.0));
    EXPECT_EQ(throttle_flow_kg_s(100.0, 101.325, 20.0, 101.325), 0.0);
    // Just below the upstream pressure the flow is incompressible: A sqrt(2 rho dp) (Bernoulli).
    const double slow = 100e-6 * std::sqrt(2.0 * 101325.0 / (kGasConstantAir * 293.15) * 200.0);
    EXPECT_NEAR(throttle_flow_kg_s(100.0, 101.325, 20.0, 101.125), slow, 3e-3 * slow);
}

TEST(Throttle, OpensByItsAngle) {
    const Throttle throttle{.bore_mm = 50.0, .closed_deg = 0.0, .discharge = 1.0};
    EXPECT_NEAR(throttle_area_mm2(throttle, 0.0), 0.0, 1e-9);
    EXPECT_NEAR(throttle_area_mm2(throttle, 60.0), 0.5 * 1963.495, 1e-3);  // half of pi 25^2
    EXPECT_NEAR(throttle_area_mm2(throttle, 90.0), 1963.495, 1e-3);
    EXPECT_TRUE(std::isnan(throttle_area_mm2(throttle, 91.0)));
}

TEST(Throttle, BalancesWhatFlowsInWithWhatIsTaken) {
    const Throttle throttle{};
    double before = 1e9;
    for (const double rpm : {1000.0, 2000.0, 4000.0, 6000.0}) {
        const double load = load_from_throttle(throttle, 15.0, rpm);
        EXPECT_GT(load, 0.02);
        EXPECT_LE(load, 1.0);
        EXPECT_LT(load, before);  // the same plate fills a faster engine less
        before = load;
        // Taken in = flow at that manifold pressure.
        const double taken = load * throttle.full_filling * 2e-3 * rpm / 120.0 * 101325.0 / (kGasConstantAir * 298.15);
        const double in = throttle_flow_kg_s(throttle_area_mm2(throttle, 15.0), 101.325, 25.0, 101.325 * load);
        EXPECT_NEAR(taken, in, 1e-9);
    }
    EXPECT_NEAR(load_from_throttle(throttle, 80.0, 800.0), 1.0, 0.01);
}

}  // namespace
}  // namespace kurbel::channel
