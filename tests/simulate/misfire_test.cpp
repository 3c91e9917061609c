#include "kurbel/simulate/misfire.hpp"

#include <gtest/gtest.h>

namespace kurbel::simulate {
namespace {

MisfireRule rule(MisfirePattern pattern) {
    MisfireRule result;
    result.pattern = pattern;
    return result;
}

TEST(MisfirePlan, RandomKeepsItsRateAndItsCylinders) {
    MisfireRule random = rule(MisfirePattern::random);
    random.rate = 0.05;
    random.cylinders = {2, 3};
    MisfirePlan plan({random}, 9);
    std::array<int, 5> count{};
    for (int cycle = 0; cycle < 20000; ++cycle)
        for (int c = 1; c <= 4; ++c)
            if (plan.next(c, 0.0, 0.5, 800.0) > 0.0) ++count[static_cast<std::size_t>(c)];
    EXPECT_EQ(count[1], 0);
    EXPECT_EQ(count[4], 0);
    EXPECT_NEAR(count[2], 1000, 130);  // four standard deviations
    EXPECT_NEAR(count[3], 1000, 130);
}

TEST(MisfirePlan, PeriodicTakesOneFiringInSoMany) {
    MisfireRule periodic = rule(MisfirePattern::periodic);
    periodic.every = 7;
    MisfirePlan plan({periodic}, 1);
    for (int firing = 0; firing < 70; ++firing)
        EXPECT_EQ(plan.next(firing % 4 + 1, 0.0, 0.5, 800.0) > 0.0, firing % 7 == 0) << firing;
}

TEST(MisfirePlan, BurstsLastTheirLengthAndStayOnTheirCylinder) {
    MisfireRule burst = rule(MisfirePattern::burst);
    burst.rate = 0.01;
    burst.length = 5;
    burst.cylinders = {1};
    MisfirePlan plan({burst}, 4);
    int run = 0;
    int bursts = 0;
    for (int cycle = 0; cycle < 5000; ++cycle) {
        EXPECT_EQ(plan.next(2, 0.0, 0.5, 800.0), 0.0);
        if (plan.next(1, 0.0, 0.5, 800.0) > 0.0) {
            ++run;
        } else if (run > 0) {
            EXPECT_EQ(run % 5, 0);  // one may follow on the heels of another
            ++bursts;
            run = 0;
        }
    }
    EXPECT_GT(bursts, 20);
}

TEST(MisfirePlan, TheMostSevereRuleWinsWithinItsConditions) {
    MisfireRule weak = rule(MisfirePattern::continuous);
    weak.severity = 0.3;
    MisfireRule dead = rule(MisfirePattern::continuous);
    dead.from_s = 10.0;
    dead.to_s = 20.0;
    dead.highest_load = 0.4;
    dead.highest_rpm = 1000.0;
    MisfirePlan plan({weak, dead}, 1);
    EXPECT_EQ(plan.next(1, 5.0, 0.3, 800.0), 0.3);
    EXPECT_EQ(plan.next(1, 15.0, 0.3, 800.0), 1.0);
    EXPECT_EQ(plan.next(1, 15.0, 0.6, 800.0), 0.3);
    EXPECT_EQ(plan.next(1, 15.0, 0.3, 1500.0), 0.3);
    EXPECT_EQ(plan.next(1, 20.0, 0.3, 800.0), 0.3);
}

}  // namespace
}  // namespace kurbel::simulate
