// Where the count of teeth stands, against plain arithmetic on the number of teeth passed.
#include "kurbel/stage/crank_place.hpp"

#include <gtest/gtest.h>

#include <random>

#include "kurbel/stage/cam_queue.hpp"

namespace kurbel::test {
namespace {

/// 12 places, the last one empty.
decoding::WheelTable wheel_12_1() {
    WheelConfig config;
    config.positions = 12;
    config.teeth = 11;
    for (int i = 0; i < config.teeth; ++i)
        config.angle_deg[static_cast<std::size_t>(i)] = 30.0F * static_cast<float>(i);
    decoding::WheelTable wheel;
    wheel.build(config);
    return wheel;
}

TEST(CrankPlace, CountsTeethRevolutionsAndHalves) {
    const auto wheel = wheel_12_1();
    std::mt19937 random(3);
    std::uniform_int_distribution<int> jump(1, 30);
    decoding::CrankPlace place;
    place.configure(true);
    place.begin(wheel, 0, 0);
    int passed = 0;
    int begun = 0;
    for (int n = 0; n < 500; ++n) {
        const int teeth = jump(random);
        begun += place.advance(wheel, teeth);
        passed += teeth;
        EXPECT_EQ(place.index(), passed % 11);
        EXPECT_EQ(place.revolution(), passed / 11);
        EXPECT_EQ(begun, passed / 11);
        EXPECT_EQ(place.half(), passed / 11 % 2);
        EXPECT_DOUBLE_EQ(place.turned_deg(wheel), 360.0 * (passed / 11) + 30.0 * (passed % 11));
    }
    place.step_back(wheel, passed);
    EXPECT_EQ(place.index(), 0);
    EXPECT_EQ(place.half(), 0);
    EXPECT_DOUBLE_EQ(place.turned_deg(wheel), 0.0);
}

TEST(CrankPlace, MovesAndTurnsTheIndexWithItsPlaceInTheCycle) {
    const auto wheel = wheel_12_1();
    for (int index = 0; index < 11; ++index)
        for (int slip = -3; slip <= 3; ++slip) {
            decoding::CrankPlace place;
            place.configure(true);
            place.begin(wheel, 0, 0);
            place.advance(wheel, 22 + index);
            const double before = place.turned_deg(wheel);
            place.move(wheel, slip);
            // The gap takes the place of one tooth.
            const int crossed = index + slip < 0 ? -1 : index + slip >= 11 ? 1 : 0;
            EXPECT_DOUBLE_EQ(place.turned_deg(wheel), before + 30.0 * (slip + crossed)) << index << " " << slip;
            place.rotate(wheel, 360.0);
            EXPECT_DOUBLE_EQ(place.turned_deg(wheel), before + 30.0 * (slip + crossed) + 360.0);
        }
    decoding::CrankPlace two_stroke;
    two_stroke.configure(false);
    two_stroke.begin(wheel, 0, 0);
    two_stroke.advance(wheel, 25);
    EXPECT_EQ(two_stroke.half(), 0);
    EXPECT_DOUBLE_EQ(two_stroke.turned_deg(wheel), 720.0 + 90.0);
}

TEST(CamQueue, KeepsTheOldestOrTheNewest) {
    decoding::CamQueue queue;
    for (int i = 0; i < kMaxCamEdges + 5; ++i) queue.push(i, false);
    EXPECT_EQ(queue.count(), kMaxCamEdges);
    EXPECT_EQ(queue.front(), 0);
    for (int i = 0; i < 5; ++i) queue.push(1000 + i, true);
    EXPECT_EQ(queue.front(), 5);
    EXPECT_EQ(queue[kMaxCamEdges - 1], 1004);
    queue.forget_until(1002);
    EXPECT_EQ(queue.count(), 2);
    queue.drop(2);
    EXPECT_TRUE(queue.empty());
}

}  // namespace
}  // namespace kurbel::test
