// One heap of firings or two.
#include "kurbel/stage/two_levels.hpp"

#include <gtest/gtest.h>

#include <random>

namespace kurbel::test {
namespace {

/// `firings` that lose `low`, or with chance `share` `high`, each with normal scatter.
TwoLevels levels_of(double low, double high, double share, double scatter, int firings, unsigned seed) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal(0.0, scatter);
    std::bernoulli_distribution lost(share);
    TwoLevels levels;
    levels.begin();
    for (int i = 0; i < firings; ++i) levels.add(0, static_cast<float>((lost(random) ? high : low) + normal(random)));
    return levels;
}

TEST(TwoLevels, FindsTheHealthyHeapWhateverTheShareOfMisfires) {
    for (const double share : {0.3, 0.5, 0.7})
        for (unsigned seed = 1; seed <= 20; ++seed) {
            const auto heaps = levels_of(-share, 1.0 - share, share, 0.08, 60, seed).heaps(0, 0.08F);
            ASSERT_TRUE(heaps.two) << share << " seed " << seed;
            EXPECT_NEAR(heaps.level, -share, 0.07);
        }
}

TEST(TwoLevels, SeesOneHeapWhereFiringsScatter) {
    // Wide scatter, up to that of a cold engine, is one heap.
    for (const double scatter : {0.05, 0.15, 0.3})
        for (unsigned seed = 1; seed <= 200; ++seed)
            for (const int firings : {8, 12, 40, 400})
                EXPECT_FALSE(levels_of(0.0, 0.0, 0.0, scatter, firings, seed).heaps(0, static_cast<float>(scatter)).two)
                    << scatter << " seed " << seed << " after " << firings;
}

TEST(TwoLevels, SeesOneHeapWhereFiringsLieAnywhere) {
    // From nothing to all of the work, evenly: the halves lie far apart and are no two heaps.
    TwoLevels levels;
    levels.begin();
    for (int i = 0; i < 60; ++i) levels.add(0, -0.6F + 0.02F * static_cast<float>(i));
    EXPECT_FALSE(levels.heaps(0, 0.05F).two);
}

TEST(TwoLevels, SaysNothingOfAFewFirings) {
    EXPECT_FALSE(levels_of(-0.5, 0.5, 0.5, 0.01, 7, 1).heaps(0, 0.05F).two);
    TwoLevels levels;
    levels.begin();
    for (int i = 0; i < 10; ++i) levels.add(0, i % 2 == 0 ? -0.5F : 0.5F);
    EXPECT_TRUE(levels.heaps(0, 0.05F).two);
    EXPECT_FALSE(levels.heaps(1, 0.05F).two);  // another place
    levels.forget(0);
    EXPECT_FALSE(levels.heaps(0, 0.05F).two);
}

TEST(TwoLevels, FewMisfiresAreNoSecondLevelThatIsHealthy) {
    // One firing in fifty that did more than all the others is not the healthy one.
    TwoLevels levels;
    levels.begin();
    for (int i = 0; i < 500; ++i) levels.add(0, i % 50 == 0 ? -1.0F : 0.0F);
    EXPECT_FALSE(levels.heaps(0, 0.05F).two);
}

TEST(TwoLevels, OldFiringsFadeAndNothingOverflows) {
    TwoLevels levels;
    levels.begin();
    for (int i = 0; i < 100000; ++i) levels.add(0, i % 2 == 0 ? -0.5F : 0.5F);
    ASSERT_TRUE(levels.heaps(0, 0.05F).two);
    for (int i = 0; i < 3000; ++i) levels.add(0, 0.5F);
    EXPECT_FALSE(levels.heaps(0, 0.05F).two);
    levels.add(0, 1e9F);
    levels.add(0, -1e9F);
}

TEST(TwoLevels, NeverDeniesALowHeapBeforeItIsLookedFor) {
    int found = 0;
    int denied = 0;
    for (unsigned seed = 1; seed <= 400; ++seed) {
        const double share = 0.1 + 0.002 * seed;
        const auto levels =
            levels_of(-0.9 + 0.002 * seed, 0.4, share, 0.05 + 0.0004 * seed, 8 + static_cast<int>(seed), seed);
        for (const float level : {-0.6F, -0.25F, -0.21F, 0.0F}) {
            const bool may = levels.may_lie_below(0, level);
            const auto heaps = levels.heaps(0, 0.05F);
            const bool does = heaps.two && heaps.level <= level;
            EXPECT_TRUE(may || !does) << seed << " " << level;
            found += does ? 1 : 0;
            denied += may ? 0 : 1;
        }
    }
    EXPECT_GT(found, 100);
    EXPECT_GT(denied, 100);
    EXPECT_FALSE(levels_of(0.0, 1.0, 0.1, 0.03, 200, 3).may_lie_below(0, -0.25F));
}

}  // namespace
}  // namespace kurbel::test
