#include "kurbel/simulate/geometry.hpp"

#include <gtest/gtest.h>

#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

TEST(SliderCrank, DerivativesMatchDifferences) {
    const SliderCrank geometry = SliderCrank::from(test::inline_four().engine);
    const double e = 1e-5;
    for (double x = -3.1; x < 3.2; x += 0.1) {
        const PistonMotion here = geometry.motion(x);
        const PistonMotion before = geometry.motion(x - e);
        const PistonMotion after = geometry.motion(x + e);
        EXPECT_NEAR(here.slope_m, (after.travel_m - before.travel_m) / (2 * e), 1e-10) << x;
        EXPECT_NEAR(here.curvature_m, (after.slope_m - before.slope_m) / (2 * e), 1e-10) << x;
    }
}

TEST(SliderCrank, TravelsOneStrokeAndCompressesByTheRatio) {
    const SliderCrank geometry = SliderCrank::from(test::inline_four().engine);
    EXPECT_NEAR(geometry.motion(0.0).travel_m, 0.0, 1e-15);
    EXPECT_NEAR(geometry.motion(portable::kPi).travel_m, 0.086, 1e-12);
    EXPECT_NEAR(geometry.volume_m3(portable::kPi) / geometry.volume_m3(0.0), 10.0, 1e-12);
}

}  // namespace
}  // namespace kurbel::simulate
