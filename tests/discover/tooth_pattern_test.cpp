// Patterns at their limits: a fold that no lap was left for.
#include "discover/tooth_pattern.hpp"

#include <gtest/gtest.h>

namespace kurbel::discover {
namespace {

TEST(ToothPattern, NoLapHasNoPattern) {
    // As where a wheel is thought to hold its gaps twice and no pair of laps is whole.
    EXPECT_TRUE(ideal_log_intervals(Fold{}).empty());
    const ToothPattern pattern = read_pattern({}, Fold{});
    EXPECT_EQ(pattern.positions, 0);
    EXPECT_TRUE(pattern.measured_deg.empty());
    EXPECT_FALSE(pattern.doubtful);
}

}  // namespace
}  // namespace kurbel::discover
