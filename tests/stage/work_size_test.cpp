// The size of a work that was guessed, where evidence is a normal distribution of which the posterior can be written down.
#include "kurbel/stage/work_size.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace kurbel::test {
namespace {

double size_where(double log_size, double error) {
    return likeliest_size<double>([&](double x) { return -0.5 * std::pow((x - log_size) / error, 2.0); });
}

TEST(WorkSize, IsTheGuessWhereNothingTells) {
    EXPECT_NEAR(likeliest_size<double>([](double) { return -1234.0; }), 1.0, 1e-12);
}

TEST(WorkSize, IsWhatIsSeenWhereThatIsSure) {
    EXPECT_NEAR(size_where(std::log(4.5), 0.15), 4.5, 0.25);
    EXPECT_NEAR(size_where(std::log(0.4), 0.15), 0.4, 0.06);
}

TEST(WorkSize, IsHalfOfTheWayWhereWhatIsSeenIsAsUncertainAsTheGuess) {
    // Product of two normal distributions of one deviation; the wide one for odd engines moves it a little.
    EXPECT_NEAR(size_where(0.5, 0.35), std::exp(0.25), 0.06);
}

}  // namespace
}  // namespace kurbel::test
