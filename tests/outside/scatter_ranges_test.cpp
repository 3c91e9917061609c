// Cycle-to-cycle scatter of the default engine against the usual ranges of COV of indicated work (Heywood 1988, eq. 9.50 and
// sec. 9.4: about 10 % is the limit of driveability; below 3 % at road load and 5 to 10 % at idle are common figures; from memory).
#include <gtest/gtest.h>

#include <cmath>

#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

/// Of one cylinder, so that the spread between cylinders takes no part.
double cov(const Scenario& s) {
    double mean = 0.0;
    double square = 0.0;
    double count = 0.0;
    for (const read::TruthRow& row : simulate(s).truth) {
        if (row.cylinder != 1) continue;
        mean += row.work_j;
        square += row.work_j * row.work_j;
        count += 1.0;
    }
    mean /= count;
    return std::sqrt(square / count - mean * mean) / mean;
}

TEST(ScatterRanges, AreThoseOfRealEngines) {
    Scenario s = test::inline_four();
    s.seconds = 90.0;
    const double idle = cov(s);
    EXPECT_GT(idle, 0.05);
    EXPECT_LT(idle, 0.1);
    EXPECT_LT(cov(test::in_gear(s, 2500.0, 0.6)), 0.035);
}

}  // namespace
}  // namespace kurbel::simulate
