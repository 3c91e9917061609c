// Exact intervals against the published example. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1, 4 defective
// in 20, 90 % interval 0.071354 to 0.401028 (value from memory).
#include <gtest/gtest.h>

#include "kurbel/study/binomial.hpp"

TEST(BinomialOutside, NistHandbookExample) {
    const kurbel::Interval interval = kurbel::exact_interval(4, 20, 0.90);
    EXPECT_NEAR(interval.low, 0.071354, 5e-7);
    EXPECT_NEAR(interval.high, 0.401028, 5e-7);
}

// Further counts; the figures were recomputed once from the beta quantiles of Clopper and Pearson (no outside source), and SciPy answers the
// same in binomial_scipy.py.
TEST(BinomialOutside, ClopperPearsonByBetaQuantiles) {
    const struct {
        int lost, firings;
        double low, high;
    } cases[] = {{4, 20, 0.05733, 0.43661},
                 {40, 2000, 0.01433, 0.02714},
                 {10, 1000, 0.004806, 0.018313},
                 {5, 100, 0.01643, 0.11283},
                 {1, 10, 0.00253, 0.44502}};
    for (const auto& one : cases) {
        const kurbel::Interval interval = kurbel::exact_interval(one.lost, one.firings);
        EXPECT_NEAR(interval.low, one.low, 6e-6) << one.lost << " of " << one.firings;
        EXPECT_NEAR(interval.high, one.high, 6e-6) << one.lost << " of " << one.firings;
    }
}

// Rule of three: none in n leaves about 3 / n at 95 % one-sided (Jovanovic & Levy, Am. Stat. 51:137, 1997); exactly 1 - 0.05^(1/n). Its
// table of n = 100, 300, 1000, and the two-sided limit at 1000, were recomputed.
TEST(BinomialOutside, RuleOfThree) {
    EXPECT_NEAR(kurbel::exact_interval(0, 100, 0.90).high, 0.02951, 5e-6);
    EXPECT_NEAR(kurbel::exact_interval(0, 300, 0.90).high, 0.009936, 5e-7);
    EXPECT_NEAR(kurbel::exact_interval(0, 1000, 0.90).high, 0.0029912, 5e-8);
    EXPECT_NEAR(kurbel::exact_interval(0, 1000).high, 0.0036821, 5e-8);
    EXPECT_LT(kurbel::exact_interval(0, 1500, 0.90).high, 1.0 / 500.0);
}
