// Whether cylinders that begin to fail together are known as a set, and others are not.
#include "kurbel/stage/failing_sets.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <vector>

namespace kurbel::test {
namespace {

constexpr double kUsual = 0.01;
constexpr double kHealthy = 1e-4;  // likelihood ratio of a clear reading
constexpr double kLost = 1e4;

/// Sets of an engine of so many cylinders and the place that fires next.
struct Engine {
    explicit Engine(int cylinders) : firings(cylinders) { sets.begin(); }

    /// The next firing, which lost its work or not, with this share.
    void fire(bool lost, double share) {
        sets.follow(next, firings, share, lost ? kLost : kHealthy, kUsual);
        sets.follow_others(share, lost ? 0.0 : 1.0);
        next = (next + 1) % firings;
    }
    /// One cycle in which those fail.
    void cycle(const std::vector<int>& failing) {
        for (int k = 0; k < firings; ++k) {
            const bool lost = std::count(failing.begin(), failing.end(), next) > 0;
            fire(lost, lost ? 1.0 : 0.0);
        }
    }
    [[nodiscard]] std::vector<int> found() const {
        std::vector<int> places;
        for (int k = 0; k < firings; ++k)
            if (sets.failing(k, firings) > 0.5) places.push_back(k);
        return places;
    }

    FailingSets<double> sets{};
    int firings;
    int next = 0;
};

TEST(FailingSets, PairsARevolutionApartAndBanksAreKnown) {
    struct Case {
        int cylinders;
        std::vector<int> failing;
    };
    for (const Case& c : {Case{4, {1, 3}}, Case{6, {2, 5}}, Case{6, {1, 3, 5}}, Case{8, {3, 7}}, Case{8, {0, 2, 4, 6}},
                          Case{10, {0, 2, 4, 6, 8}}, Case{12, {5, 11}}, Case{16, {0, 8}}}) {
        Engine engine(c.cylinders);
        engine.cycle({});
        EXPECT_TRUE(engine.found().empty());
        // A pair fires twice a cycle.
        const int cycles = c.failing.size() == 2 ? 2 : 1;
        for (int n = 0; n < cycles; ++n) engine.cycle(c.failing);
        EXPECT_EQ(engine.found(), c.failing) << c.cylinders;
        engine.cycle({});
        EXPECT_TRUE(engine.found().empty()) << c.cylinders;
    }
}

TEST(FailingSets, ABankOfAnEightInTwoPlanesIsKnownWhereverItsRowBegins) {
    // Left, right, left, left, right, left, right, right.
    const std::vector<int> right{1, 4, 6, 7};
    for (int turned = 0; turned < 8; ++turned) {
        std::vector<int> failing;
        for (const int place : right) failing.push_back((place + turned) % 8);
        std::sort(failing.begin(), failing.end());
        Engine engine(8);
        engine.cycle({});
        engine.cycle(failing);
        engine.cycle(failing);
        EXPECT_EQ(engine.found(), failing) << turned;
    }
}

TEST(FailingSets, NoneIsKnownByItsFirstLossNorByOneCylinderOfIt) {
    Engine first(6);
    first.cycle({});
    first.fire(true, 1.0);
    EXPECT_TRUE(first.found().empty());
    Engine one(6);
    for (int n = 0; n < 200; ++n) {
        one.cycle({4});
        ASSERT_TRUE(one.found().empty()) << n;
    }
    // Two neighbours share nothing that a set stands for.
    Engine neighbours(6);
    for (int n = 0; n < 200; ++n) {
        neighbours.cycle({3, 4});
        ASSERT_TRUE(neighbours.found().empty()) << n;
    }
}

TEST(FailingSets, WhatAllReadIsNoLossOfAnybody) {
    // A clutch, a pattern that is left behind: each firing seems to have lost two thirds, and which are taken for misfires is by chance.
    Engine engine(8);
    engine.cycle({});
    for (int n = 0; n < 40; ++n) {
        engine.fire(n % 2 == 0, 0.66);
        ASSERT_TRUE(engine.found().empty()) << n;
    }
    // The same set beside firings that read as nothing, or as more than their work: a trend that is late.
    for (const double others : {0.0, -0.4}) {
        Engine beside(8);
        beside.cycle({});
        for (int n = 0; n < 16; ++n) beside.fire(n % 2 == 0, n % 2 == 0 ? others + 0.9 : others);
        EXPECT_EQ(beside.found(), (std::vector<int>{0, 2, 4, 6})) << others;
    }
}

TEST(FailingSets, LossesOfWhoFailsAloneTellNothingOfHisSet) {
    const auto after = [](double usual) {
        FailingSets<double> sets;
        sets.begin();
        for (int n = 0; n < 3; ++n) {
            sets.follow(0, 4, 1.0, kLost, usual);
            sets.follow(2, 4, 1.0, 10.0, kUsual);
        }
        return sets.failing(0, 4);
    };
    EXPECT_GT(after(kUsual), 0.9);
    EXPECT_LT(after(0.9), 0.5);
}

TEST(FailingSets, EnginesOfOneToThreeHaveNone) {
    for (const int cylinders : {1, 2, 3, 5}) {
        Engine engine(cylinders);
        for (int n = 0; n < 50; ++n) engine.cycle({0});
        EXPECT_TRUE(engine.found().empty()) << cylinders;
    }
}

}  // namespace
}  // namespace kurbel::test
