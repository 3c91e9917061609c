// Worked examples of sequential and two-sample tests. Sources beside each figure; those that only this project's notes recomputed
// from the formula say so.
#include <gtest/gtest.h>

#include <cmath>

#include "kurbel/study/sequential_exact.hpp"
#include "kurbel/study/two_sample.hpp"

namespace kurbel {
namespace {

// NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.6: p1 = 0.01, p2 = 0.10, alpha = 0.05, beta = 0.10. Its table: after 24 units accept with
// 0 defectives, reject with 3. The intercepts and slope were recomputed from Wald's formulas.
TEST(WorkedExamples, NistSequentialPlan) {
    const WaldLines lines = wald_lines(0.01, 0.10, 0.05, 0.10);
    EXPECT_NEAR(lines.accept, 0.93886, 1e-5);
    EXPECT_NEAR(lines.reject, 1.20538, 1e-5);
    EXPECT_NEAR(lines.slope, 0.039747, 1e-6);
    const auto accepts = [&](int n, int x) { return x <= lines.slope * n - lines.accept; };
    const auto rejects = [&](int n, int x) { return x >= lines.slope * n + lines.reject; };
    EXPECT_FALSE(accepts(23, 0));
    EXPECT_TRUE(accepts(24, 0));
    EXPECT_TRUE(rejects(2, 2));
    EXPECT_TRUE(rejects(19, 2));
    EXPECT_FALSE(rejects(20, 2));
    EXPECT_TRUE(rejects(24, 3));
}

// Mean length of the NIST plan by Wald's approximation: 28.0 at p1, 16.4 at p2 (recomputed from A:3.57, no outside source).
TEST(WorkedExamples, MeanLengthByWald) {
    SequentialPlan plan;
    plan.gain = std::log(0.10 / 0.01);
    plan.loss = std::log(0.99 / 0.90);
    plan.gone_at = std::log(0.10 / 0.95);
    plan.remains_at = std::log(0.90 / 0.05);
    EXPECT_NEAR(wald_mean_firings(plan, 0.01, 0.95), 28.0, 0.05);
    EXPECT_NEAR(wald_mean_firings(plan, 0.10, 0.10), 16.4, 0.05);
}

// Recomputed from Wald's formulas (no outside source): 0.001 against 0.02, both errors 1 %.
TEST(WorkedExamples, RepairPlanByWald) {
    const WaldLines lines = wald_lines(0.001, 0.02, 0.01, 0.01);
    EXPECT_NEAR(lines.accept, 1.52412, 1e-5);
    EXPECT_NEAR(lines.slope, 0.006369, 1e-6);
    EXPECT_EQ(std::ceil(lines.accept / lines.slope), 240);
    // Ours is a little wider, since Wald's limits are approximate.
    EXPECT_GE(sequential_plan(0.001, 0.02, 0.01).clean_needed(0, 0), 240);
    EXPECT_LE(sequential_plan(0.001, 0.02, 0.01).clean_needed(0, 0), 242);
    SequentialPlan wald = sequential_plan(0.001, 0.02, 0.01);
    wald.gone_at = -std::log(99.0);
    wald.remains_at = std::log(99.0);
    EXPECT_NEAR(wald_mean_firings(wald, 0.001, 0.99), 278.0, 0.5);
    EXPECT_NEAR(wald_mean_firings(wald, 0.02, 0.01), 110.0, 0.5);
}

// Fisher, The Design of Experiments, 1935 (value from memory): the lady who names 3 of 4 cups: one-sided 0.242857, two-sided 0.485714.
TEST(WorkedExamples, LadyTastingTea) { EXPECT_NEAR(fisher_exact({3, 4}, {1, 4}), 0.485714, 1e-6); }

// Recomputed from the formula (no outside source).
TEST(WorkedExamples, TwoProportions) { EXPECT_NEAR(two_proportions_z({15, 300}, {6, 300}), 1.99926, 1e-5); }

}  // namespace
}  // namespace kurbel
