// What may hang on the crank, and how far each that is listed stands for those beside it.
#include "kurbel/stage/surrounding.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>

namespace kurbel::test {
namespace {

using Around = Surrounding<double>;

TEST(Surrounding, WhereNothingHangsTheCrankIsFree) {
    const Around free(0);
    EXPECT_EQ(free.driveline(0.5, 900.0), 1.0);
    EXPECT_EQ(free.driveline_error(0.5, 900.0), 0.0);
}

TEST(Surrounding, FarAboveItsResonanceABrakeLeavesTheCrankFree) {
    for (int number = 0; number < Around::kHanging; ++number) {
        EXPECT_NEAR(std::abs(Around(number).driveline(2.0, 30000.0)), 1.0, 0.05) << number;
        EXPECT_LT(Around(number).driveline_error(2.0, 30000.0), 0.03) << number;
    }
}

/// A resonance that is off by a tenth answers as one whose speed is: what is stated covers nearly all of it.
TEST(Surrounding, ErrorsCoverWhatLiesBetweenThoseThatAreListed) {
    int covered = 0;
    int asked = 0;
    for (int number = 0; number < Around::kHanging; ++number)
        for (double speed = 600.0; speed < 6000.0; speed *= 1.07)
            for (const double off : {0.93, 1.07}) {
                const std::complex<double> listed = Around(number).driveline(0.5, speed);
                const std::complex<double> real = Around(number).driveline(0.5, speed * off);
                const double error = Around(number).driveline_error(0.5, speed);
                ++asked;
                if (std::abs(real - listed) <= 1.5 * error * std::abs(listed) + 1e-9) ++covered;
            }
    EXPECT_GT(covered, 0.97 * asked) << covered << " of " << asked;
}

}  // namespace
}  // namespace kurbel::test
