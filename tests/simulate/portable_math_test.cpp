#include "kurbel/simulate/portable_math.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace kurbel::simulate {
namespace {

// The C library is the reference here; it differs from ours in the last bits only.
TEST(PortableMath, AgreesWithTheCLibrary) {
    for (double x = -50.0; x <= 50.0; x += 0.0371) {
        EXPECT_NEAR(portable::exp(x) / std::exp(x), 1.0, 1e-14) << x;
        EXPECT_NEAR(portable::sin(x), std::sin(x), 4e-16) << x;
        EXPECT_NEAR(portable::cos(x), std::cos(x), 4e-16) << x;
        EXPECT_NEAR(portable::tanh(x), std::tanh(x), 2e-15) << x;
    }
    for (double x = 1e-6; x < 1e6; x *= 1.37) {
        EXPECT_NEAR(portable::log(x), std::log(x), 4e-15) << x;
        EXPECT_NEAR(portable::pow(x, 1.32) / std::pow(x, 1.32), 1.0, 2e-14) << x;
    }
}

TEST(PortableMath, HoldsForManyTurns) {
    for (double x = 1e4; x < 9e4; x += 977.3) EXPECT_NEAR(portable::sin(x), std::sin(x), 1e-14) << x;
}

TEST(PortableMath, SaturatesInsteadOfOverflowing) {
    EXPECT_EQ(portable::exp(-1000.0), 0.0);
    EXPECT_TRUE(std::isfinite(portable::exp(1000.0)));
    EXPECT_EQ(portable::tanh(1e3), 1.0);
    EXPECT_EQ(portable::tanh(-1e3), -1.0);
}

}  // namespace
}  // namespace kurbel::simulate
