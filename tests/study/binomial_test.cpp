// Exact intervals at and beyond their edges; the comparison with SciPy is in tests/outside.
#include "kurbel/study/binomial.hpp"

#include <gtest/gtest.h>

namespace {

using kurbel::exact_interval;
using kurbel::incomplete_beta;
using kurbel::Interval;

TEST(IncompleteBeta, ClosedForms) {
    // I_x(1, b) = 1 - (1 - x)^b and I_x(a, 1) = x^a (Abramowitz & Stegun 26.5, from the definition).
    for (const double x : {0.001, 0.1, 0.5, 0.9, 0.999}) {
        EXPECT_NEAR(incomplete_beta(1.0, 7.5, x), 1.0 - std::pow(1.0 - x, 7.5), 1e-14);
        EXPECT_NEAR(incomplete_beta(3.25, 1.0, x), std::pow(x, 3.25), 1e-14);
        EXPECT_NEAR(incomplete_beta(4.0, 9.0, x) + incomplete_beta(9.0, 4.0, 1.0 - x), 1.0, 1e-14);
    }
    EXPECT_EQ(incomplete_beta(2.0, 3.0, 0.0), 0.0);
    EXPECT_EQ(incomplete_beta(2.0, 3.0, 1.0), 1.0);
}

TEST(IncompleteBeta, RefusesWhatIsOutside) {
    for (const double bad : {incomplete_beta(0.0, 1.0, 0.5), incomplete_beta(1.0, -1.0, 0.5),
                             incomplete_beta(1.0, 1.0, 1.5), incomplete_beta(1.0, 1.0, kurbel::kUnknown)})
        EXPECT_TRUE(bad != bad);
}

TEST(ExactInterval, Edges) {
    const Interval none = exact_interval(0, 0);
    EXPECT_EQ(none.low, 0.0);
    EXPECT_EQ(none.high, 1.0);
    const Interval zero = exact_interval(0, 1000);
    EXPECT_EQ(zero.low, 0.0);
    EXPECT_NEAR(zero.high, 1.0 - std::pow(0.025, 1e-3), 1e-15);
    const Interval all = exact_interval(1000, 1000);
    EXPECT_EQ(all.high, 1.0);
    EXPECT_NEAR(all.low, std::pow(0.025, 1e-3), 1e-15);
}

TEST(ExactInterval, MirrorsAndNests) {
    for (const int n : {1, 2, 7, 100, 4321})
        for (int x = 0; x <= n; x += 1 + n / 13) {
            const Interval interval = exact_interval(x, n);
            const Interval mirror = exact_interval(n - x, n);
            EXPECT_NEAR(interval.low, 1.0 - mirror.high, 1e-12);
            EXPECT_LE(interval.low, static_cast<double>(x) / n);
            EXPECT_GE(interval.high, static_cast<double>(x) / n);
            const Interval wider = exact_interval(x, n, 0.99);
            EXPECT_LE(wider.low, interval.low);
            EXPECT_GE(wider.high, interval.high);
        }
}

TEST(ExactInterval, RefusesCountsThatCannotBe) {
    for (const Interval& bad : {exact_interval(-1, 5), exact_interval(6, 5), exact_interval(1, 5, 1.0),
                                exact_interval(1, 5, 0.0), exact_interval(1, 5, kurbel::kUnknown)}) {
        EXPECT_TRUE(bad.low != bad.low);
        EXPECT_TRUE(bad.high != bad.high);
    }
}

TEST(ExactInterval, CoversTheTruthAsOftenAsItSays) {
    // Exact by summing the binomial distribution: for every p the chance of an interval that holds p is at least 95 %.
    constexpr int kTrials = 40;
    for (double p = 0.01; p < 1.0; p += 0.03) {
        double covered = 0.0;
        double chance = std::pow(1.0 - p, kTrials);
        for (int x = 0; x <= kTrials; ++x) {
            const Interval interval = exact_interval(x, kTrials);
            if (interval.low <= p && p <= interval.high) covered += chance;
            chance *= p / (1.0 - p) * (kTrials - x) / (x + 1.0);
        }
        EXPECT_GE(covered, 0.95) << p;
    }
}

// By scipy.stats 1.10.1: poisson.ppf(0.975, mean).
TEST(PoissonLimit, IsTheQuantile) {
    using kurbel::poisson_limit;
    constexpr std::int64_t kMost = 1000;
    EXPECT_EQ(poisson_limit(0.0, 0.025, kMost), 0);
    EXPECT_EQ(poisson_limit(0.025, 0.025, kMost), 0);
    EXPECT_EQ(poisson_limit(0.026, 0.025, kMost), 1);
    EXPECT_EQ(poisson_limit(2.5, 0.025, kMost), 6);
    EXPECT_EQ(poisson_limit(40.0, 0.025, kMost), 53);
    EXPECT_EQ(poisson_limit(300.0, 0.025, kMost), 334);
    EXPECT_EQ(poisson_limit(40.0, 0.025, 10), 10);
    EXPECT_EQ(poisson_limit(1e6, 0.025, kMost), kMost);
}

}  // namespace
