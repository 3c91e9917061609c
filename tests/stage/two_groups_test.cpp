// Readings of one place, some of which lost their work, cut in two.
#include "kurbel/stage/two_groups.hpp"

#include <gtest/gtest.h>

#include <random>
#include <vector>

namespace kurbel::test {
namespace {

TEST(TwoGroups, CutsWhereLeastScatterIsLeftOfAllPartitions) {
    // Any partition at all, not only those in order of size: the best is one of these (Fisher 1958).
    std::mt19937_64 random(3);
    std::normal_distribution<double> normal;
    constexpr unsigned kReadings = 9;
    for (int run = 0; run < 50; ++run) {
        TwoGroups<double, 16> groups;
        std::vector<double> values;
        for (unsigned n = 0; n < kReadings; ++n) {
            values.push_back(normal(random) + (n % 3 == 0 ? 1.0 : 0.0));
            groups.add(values.back());
        }
        double most = 0.0;
        double apart = 0.0;
        for (unsigned set = 1; set + 1 < (1U << kReadings); ++set) {
            double sum[2] = {0.0, 0.0};
            double count[2] = {0.0, 0.0};
            for (unsigned n = 0; n < kReadings; ++n) {
                sum[(set >> n) & 1U] += values[n];
                count[(set >> n) & 1U] += 1.0;
            }
            const double step = sum[1] / count[1] - sum[0] / count[0];
            const double between = step * step * count[0] * count[1];
            if (step < 0.0 || between <= most) continue;
            most = between;
            apart = step;
        }
        ASSERT_TRUE(groups.split());
        EXPECT_NEAR(groups.difference(), apart, 1e-12) << run;
    }
}

TEST(TwoGroups, TellsWhichOneIsLarger) {
    TwoGroups<double, 8> mostly;
    for (const double value : {0.3, -0.6, 0.35, 0.31, -0.62}) mostly.add(value);
    ASSERT_TRUE(mostly.split());
    EXPECT_TRUE(mostly.mostly_upper());
    EXPECT_EQ(mostly.least_upper(), 0.3);
    TwoGroups<double, 8> half;
    for (const double value : {0.5, -0.5, 0.4, -0.4}) half.add(value);
    ASSERT_TRUE(half.split());
    EXPECT_FALSE(half.mostly_upper());
    EXPECT_NEAR(half.difference(), 0.9, 1e-12);
}

TEST(TwoGroups, HoldsNoMoreThanThereIsRoomForAndNeedsTwo) {
    TwoGroups<double, 2> groups;
    groups.add(1.0);
    EXPECT_FALSE(groups.split());
    groups.add(1.0);
    groups.add(7.0);
    ASSERT_TRUE(groups.split());
    EXPECT_EQ(groups.difference(), 0.0);
}

}  // namespace
}  // namespace kurbel::test
