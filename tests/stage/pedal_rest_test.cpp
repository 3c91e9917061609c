// Whether the foot has been still, by what the load did.
#include "kurbel/stage/pedal_rest.hpp"

#include <gtest/gtest.h>

#include <limits>

namespace kurbel::test {
namespace {

constexpr float kStep_s = 0.02F;

void take(PedalRest& pedal, float load, double seconds) {
    for (int n = 0; n < static_cast<int>(seconds / static_cast<double>(kStep_s)); ++n) pedal.take(load, kStep_s);
}

TEST(PedalRest, IsStillUntilTheLoadMovesAndSomeSecondsAfter) {
    PedalRest pedal;
    EXPECT_FALSE(pedal.still()) << "nothing is known of the load";
    take(pedal, 0.4F, 0.04);
    EXPECT_TRUE(pedal.still()) << "nothing says that it moved";
    take(pedal, 0.43F, 1.0);
    EXPECT_TRUE(pedal.still()) << "a governor moves it by as much";
    take(pedal, 0.8F, 0.1);
    EXPECT_FALSE(pedal.still());
    take(pedal, 0.8F, 1.5);
    EXPECT_FALSE(pedal.still());
    take(pedal, 0.8F, 4.0);
    EXPECT_TRUE(pedal.still());
}

TEST(PedalRest, IsNeverStillWhereTheLoadIsUnknown) {
    PedalRest pedal;
    take(pedal, 0.4F, 5.0);
    ASSERT_TRUE(pedal.still());
    pedal.take(std::numeric_limits<float>::quiet_NaN(), kStep_s);
    EXPECT_FALSE(pedal.still());
}

}  // namespace
}  // namespace kurbel::test
