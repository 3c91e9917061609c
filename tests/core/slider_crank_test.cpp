// The core's slider crank and burn law against the same values as the simulator's: Heywood, Internal Combustion Engine Fundamentals,
// 1988, eq. 2.6 (volume), 2.11 (piston speed), 9.5 (Wiebe); equation numbers from memory, values computed by hand from the
// formulas. Bore = stroke = 86 mm, rod 145 mm, compression ratio 10.
#include "kurbel/core/slider_crank.hpp"

#include <gtest/gtest.h>

#include <array>
#include <numbers>

namespace {

using namespace kurbel;

constexpr std::array<double, 8> kAngle_deg{0, 30, 45, 60, 90, 120, 150, 180};

SliderCrank square86() {
    EngineConfig engine;
    engine.stroke_mm = 86.0;
    engine.rod_mm = 145.0;
    engine.compression_ratio = 10.0;
    return SliderCrank::of(engine);
}

TEST(CoreSliderCrank, VolumeOverClearance) {
    constexpr std::array<double, 8> kRatio{1.0000, 1.7706, 2.6554, 3.7590, 6.1826, 8.2590, 9.5649, 10.0000};
    for (std::size_t i = 0; i < kRatio.size(); ++i)
        EXPECT_NEAR(square86().volume(to_rad(kAngle_deg[i])), kRatio[i], 5.1e-5) << kAngle_deg[i];
}

TEST(CoreSliderCrank, PistonSpeedOverItsMean) {
    // Mean piston speed is two strokes a turn: 2/pi of radius times crank speed.
    constexpr std::array<double, 8> kRatio{0, 0.9894, 1.3489, 1.5691, 1.5708, 1.1516, 0.5814, 0};
    for (std::size_t i = 0; i < kRatio.size(); ++i)
        EXPECT_NEAR(square86().lever(to_rad(kAngle_deg[i])) * std::numbers::pi / 2.0, kRatio[i], 5.1e-5)
            << kAngle_deg[i];
    EXPECT_NEAR(2.0 * 0.086 * 6000.0 / 60.0, 17.2, 1e-12) << "mean piston speed at 6000 rpm, m/s (eq. 2.9)";
}

TEST(CoreSliderCrank, UnknownGeometryIsATypicalCars) {
    const SliderCrank crank = SliderCrank::of(EngineConfig{});
    EXPECT_EQ(crank.rod_ratio, 3.4);
    EXPECT_EQ(crank.compression_ratio, 10.0);
    EXPECT_NEAR(crank.volume(std::numbers::pi), 10.0, 1e-12);
}

TEST(CoreWiebe, Values) {
    constexpr std::array<std::array<double, 2>, 7> kValues{{{0.25, 0.0752},
                                                            {0.50, 0.4647},
                                                            {0.75, 0.8787},
                                                            {1.00, 0.9933},
                                                            {0.2762, 0.10},
                                                            {0.5175, 0.50},
                                                            {0.7722, 0.90}}};
    for (const auto& [fraction, burnt] : kValues) EXPECT_NEAR(wiebe(fraction), burnt, 1e-4) << fraction;
    EXPECT_EQ(wiebe(0.0), 0.0);
    EXPECT_EQ(wiebe(-1.0), 0.0);
}

}  // namespace
