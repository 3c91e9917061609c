// Whether any cylinder is dead, summed over what may surround the crank.
#include "kurbel/stage/missing_odds.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace kurbel::test {
namespace {

using Odds = MissingOdds<double, char>;

TEST(LogSum, IsTheLogarithmOfTheSum) {
    LogSum<double> sum;
    double plain = 0.0;
    for (const double log : {-3.0, 2.0, 1.5, -700.0, 2.5}) {
        sum.add(log);
        plain += std::exp(log);
        EXPECT_NEAR(sum.value(), std::log(plain), 1e-12);
    }
    // Far beyond what exp() holds.
    LogSum<double> large;
    large.add(5000.0);
    large.add(5000.0);
    EXPECT_NEAR(large.value(), 5000.0 + std::log(2.0), 1e-9);
}

TEST(MissingOdds, OneSurroundingThatExplainsBestDoesNotOutweighManyThatNeedNobodyDead) {
    Odds odds;
    odds.add(0, 1.6, 4.2, true, 'p');
    EXPECT_NEAR(odds.odds(), 4.2, 1e-12);
    for (int around = 1; around <= 10; ++around) odds.add(around, 1.4, 0.0, false, 'n');
    const double some = std::exp(1.6);
    const double none = std::exp(1.6 - 4.2) + 10.0 * std::exp(1.4);
    EXPECT_NEAR(odds.odds(), std::log(some / none), 1e-12);
    EXPECT_LT(odds.odds(), 0.0);
    EXPECT_EQ(odds.best(true).around, 0);
    EXPECT_EQ(odds.best(true).explanation, 'p');
    EXPECT_EQ(odds.best(false).explanation, 'n');
    EXPECT_EQ(odds.best(false).around, 1);
}

TEST(MissingOdds, WhereOneKindWasNotFoundTheOtherIsBest) {
    Odds odds;
    odds.add(3, -2.0, 0.0, false, 'n');
    EXPECT_EQ(odds.odds(), std::numeric_limits<double>::lowest());
    EXPECT_EQ(odds.best(true).around, 3);
    Odds dead;
    dead.add(5, -2.0, 7.0, true, 'p');
    EXPECT_EQ(dead.best(false).around, 5);
    EXPECT_EQ(dead.best(false).evidence, -2.0);
}

}  // namespace
}  // namespace kurbel::test
