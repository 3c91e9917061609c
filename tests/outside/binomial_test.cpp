// Exact intervals against the published example. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1, 4 defective
// in 20, 90 % interval 0.071354 to 0.401028 (value from memory).
#include <gtest/gtest.h>

#include "kurbel/study/binomial.hpp"

TEST(BinomialOutside, NistHandbookExample) {
    const kurbel::Interval interval = kurbel::exact_interval(4, 20, 0.90);
    EXPECT_NEAR(interval.low, 0.071354, 5e-7);
    EXPECT_NEAR(interval.high, 0.401028, 5e-7);
}
