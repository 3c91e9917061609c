// The gas that the study of cranking fits, against the polytropic compression of a text book's cylinder: bore and stroke 86 mm, rod
// 145 mm, ratio 10, from 1 bar with exponent 1.3 (Heywood 1988, sec. 2.2 and 9.2; figures computed from the formulas).
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "study/trapped_gas.hpp"

namespace {

using namespace kurbel;

TEST(CrankedGas, CompressesAsTheFormulaSays) {
    EngineConfig engine;
    engine.cylinders = 1;
    engine.bore_mm = 86.0;
    engine.stroke_mm = 86.0;
    engine.rod_mm = 145.0;
    engine.compression_ratio = 10.0;
    const cranking::GasTables gas{SliderCrank::of(engine)};
    EXPECT_NEAR(gas.bottom, 10.0, 1e-9);
    constexpr double kPerDeg = cranking::GasTables::kPerDeg;
    const double at_tdc = cranking::between(gas.ratio_log, 180.0 * kPerDeg);
    EXPECT_NEAR(std::exp(1.30 * at_tdc), 19.953, 5.1e-4);
    EXPECT_NEAR(std::exp(1.35 * at_tdc), 22.387, 5.1e-4);

    // Piston area times crank radius is half of the displacement over one radian.
    const double half_m3 = 0.5 * 0.25e-9 * std::numbers::pi * 86.0 * 86.0 * 86.0;
    double net_j = 0.0;
    double peak_nm = 0.0;
    double peak_deg = 0.0;
    for (double deg = -180.0 + 0.005; deg < 0.0; deg += 0.01) {
        const double place = cranking::table_place(deg, 720.0);
        const double bar = std::exp(1.3 * cranking::between(gas.ratio_log, place)) - 1.0;
        const double torque = 1e5 * bar * half_m3 * cranking::between(gas.lever, place);
        net_j -= torque * to_rad(0.01);
        if (torque < peak_nm) {
            peak_nm = torque;
            peak_deg = deg;
        }
    }
    // 134.2 J; the valves, which the book leaves shut from the bottom on, let about 0.1 J of it out.
    EXPECT_NEAR(net_j, 134.2, 0.3);
    EXPECT_NEAR(peak_nm, -139.4, 0.06);
    EXPECT_NEAR(peak_deg, -24.0, 0.6);
}

TEST(CrankedGas, LeaksAsANozzleDoes) {
    // Choked beyond (2 / 2.4)^(-3.5) = 1.893 times ambient; below by the flow function over its greatest value (Heywood 1988, app. C,
    // from memory): written out here from the formulas.
    EXPECT_NEAR(std::pow(2.0 / 2.4, -3.5), 1.893, 5e-4);
    EXPECT_EQ(cranking::flow_share(3.0), 1.0);
    EXPECT_EQ(cranking::flow_share(1.0), 0.0);
    const auto psi = [](double r) {
        return std::sqrt(2.0 * 1.4 / 0.4 * (std::pow(r, 2.0 / 1.4) - std::pow(r, 2.4 / 1.4)));
    };
    const double choked =
        std::sqrt(1.4) * std::pow(2.0 / 2.4, 3.0);  // sqrt(gamma) (2 / (gamma + 1))^((gamma + 1) / (2 (gamma - 1)))
    for (const double ratio : {1.05, 1.2, 1.5, 1.8})
        EXPECT_NEAR(cranking::flow_share(ratio), psi(1.0 / ratio) / choked, 1e-3) << ratio;
}

}  // namespace
