// The size of a work that was guessed, where evidence is a normal distribution of which the posterior can be written down.
#include "kurbel/stage/work_size.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace kurbel::test {
namespace {

template <class Prior = GuessedSize<double>>
double size_where(double log_size, double error, const Prior& prior = {}) {
    return likeliest_size<double>(prior, [&](double x) { return -0.5 * std::pow((x - log_size) / error, 2.0); });
}

TEST(WorkSize, IsTheGuessWhereNothingTells) {
    EXPECT_NEAR(likeliest_size<double>(GuessedSize<double>{}, [](double) { return -1234.0; }), 1.0, 1e-12);
}

TEST(WorkSize, IsWhatIsSeenWhereThatIsSure) {
    EXPECT_NEAR(size_where(std::log(4.5), 0.15), 4.5, 0.25);
    EXPECT_NEAR(size_where(std::log(0.4), 0.15), 0.4, 0.06);
}

TEST(WorkSize, IsHalfOfTheWayWhereWhatIsSeenIsAsUncertainAsTheGuess) {
    // Product of two normal distributions of one deviation; the wide one for odd engines moves it a little.
    EXPECT_NEAR(size_where(0.5, 0.35), std::exp(0.25), 0.06);
}

TEST(WorkSize, IsWhatWasToldUnlessThatCannotBe) {
    const ToldSize<double> usual{0.0};
    EXPECT_NEAR(size_where(std::log(0.6), 0.35, usual), 1.0, 0.12) << "as far off as any measure of it";
    EXPECT_NEAR(size_where(std::log(0.1), 0.35, usual), 0.1, 0.06) << "no measure of it is off by ten";
    EXPECT_NEAR(size_where(std::log(0.1), 0.35, DisbelievedSize<double>{std::log(10.0)}), 0.1, 0.01);
}

TEST(WorkSize, LessProvesASlipWhereThereIsHardlySuchAnEngine) {
    // Told ten times what is usual, and half a slip is seen: of a usual engine the same is an error of the measure.
    const double log_seen = std::log(0.25);
    EXPECT_LT(size_where(log_seen, 0.6, ToldSize<double>{std::log(10.0)}), 0.3);
    EXPECT_GT(size_where(log_seen, 0.6, ToldSize<double>{0.0}), 0.8);
}

TEST(WorkSize, ATrucksInertiaIsBelieved) {
    EXPECT_NEAR(size_where(std::log(1.3), 0.35, ToldSize<double>{-std::log(3.3)}), 1.0, 0.25);
}

}  // namespace
}  // namespace kurbel::test
