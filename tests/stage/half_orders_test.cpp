// What differs between both revolutions, taken apart.
#include "kurbel/stage/half_orders.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <vector>

namespace kurbel {
namespace {

WheelConfig wheel_of(int positions, std::vector<int> absent) {
    WheelConfig wheel;
    EXPECT_TRUE(make_even_wheel(positions, absent.data(), static_cast<int>(absent.size()), wheel).ok());
    wheel.tdc1_deg = 84.0;
    return wheel;
}

TEST(HalfOrders, FindEachOrderWithItsPhase) {
    const WheelConfig wheel = wheel_of(60, {});
    HalfOrders halves;
    halves.build(wheel, 4);
    ASSERT_EQ(halves.size(), HalfOrders::kMost);
    for (int m = 0; m < halves.size(); m += 2) {
        const double order = 0.5 * HalfOrders::twice_order(m);
        std::array<double, kMaxTeeth> value{};
        for (int j = 0; j < 60; ++j)
            value[static_cast<std::size_t>(j)] = std::cos(
                order * to_rad(static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(j)]) - 84.0) - 0.7);
        std::array<double, HalfOrders::kMost> part{};
        halves.project(value.data(), part.data());
        for (int k = 0; k < halves.size(); k += 2) {
            const double size = k == m ? std::sqrt(30.0) : 0.0;
            EXPECT_NEAR(part[static_cast<std::size_t>(k)], size * std::cos(0.7), 1e-4);
            EXPECT_NEAR(part[static_cast<std::size_t>(k + 1)], size * std::sin(0.7), 1e-4);
        }
    }
}

TEST(HalfOrders, AreAsManyAsTheTeethCanHold) {
    HalfOrders halves;
    halves.build(wheel_of(12, {11}), 4);
    EXPECT_EQ(halves.size(), 10);
    halves.build(wheel_of(60, {58, 59}), 2);
    EXPECT_EQ(halves.size(), 0);  // a two-stroke's revolutions are alike
}

}  // namespace
}  // namespace kurbel
