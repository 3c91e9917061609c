// What misfires lose: the mixture and how it is learned.
#include "kurbel/stage/misfire_kind.hpp"

#include <gtest/gtest.h>

#include <random>

namespace kurbel::test {
namespace {

using Kind = MisfireKind<double>;

TEST(MisfireKind, KnowsNothingAtFirst) { EXPECT_DOUBLE_EQ(Kind{}.whole_share(), 0.5); }

TEST(MisfireKind, WholeMisfiresMakeHalfLossesHealthier) {
    Kind kind;
    const double before = kind.density(0.55, 0.1);
    std::mt19937_64 random(1);
    std::normal_distribution<double> normal(1.0, 0.1);
    for (int n = 0; n < 300; ++n) kind.learn(normal(random), 0.1, 1.0);
    // Each firing near the whole may be one of "any share" as well, and only the last hundred count: it does not reach 1.
    EXPECT_GT(kind.whole_share(), 0.8);
    EXPECT_LT(kind.density(0.55, 0.1), 0.4 * before);
}

TEST(MisfireKind, HalfLossesStayMisfiresWhereTheyAreUsual) {
    Kind kind;
    std::mt19937_64 random(2);
    std::normal_distribution<double> normal(0.6, 0.1);
    for (int n = 0; n < 300; ++n) kind.learn(normal(random), 0.1, 1.0);
    EXPECT_LT(kind.whole_share(), 0.1);
    EXPECT_GT(kind.density(0.55, 0.1), 1.2);
}

TEST(MisfireKind, HealthyFiringsTeachNothing) {
    Kind kind;
    for (int n = 0; n < 300; ++n) kind.learn(0.0, 0.1, 0.0);
    EXPECT_DOUBLE_EQ(kind.whole_share(), 0.5);
}

TEST(MisfireKind, MoreThanEverythingIsNoLessAMisfire) {
    const Kind kind;
    EXPECT_GE(kind.density(1.8, 0.1), kind.density(1.2, 0.1));
}

TEST(MisfireKind, ResetForgets) {
    Kind kind;
    kind.learn(1.0, 0.1, 1.0);
    kind.reset();
    EXPECT_DOUBLE_EQ(kind.whole_share(), 0.5);
}

}  // namespace
}  // namespace kurbel::test
