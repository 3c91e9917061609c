// Signs of life of single cylinders, against likelihoods written down anew.
#include "kurbel/stage/cylinder_life.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>
#include <vector>

namespace kurbel::test {
namespace {

using Life = CylinderLife<double>;

/// Four cylinders of these deviations, some hundred firings each.
Life of_scatter(const std::array<double, 4>& deviation, int firings = 150, unsigned seed = 7) {
    Life life;
    life.begin(4);
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal;
    for (int n = 0; n < firings; ++n)
        for (int k = 0; k < 4; ++k) life.follow(k, deviation[static_cast<std::size_t>(k)] * normal(random), 1.0);
    return life;
}

double scatter_of(const Life& life, const std::vector<int>& set) {
    Life::Sums sums;
    for (const int k : set) {
        sums.weight += life.of(k).weight;
        sums.excess += life.of(k).excess;
    }
    std::array<Life::Sums, kMaxCylinders> each;
    return Life::scatter(sums, life.of_all(each));
}

TEST(CylinderLife, SaysNothingBeforeItHasSeenSome) {
    Life life;
    life.begin(4);
    EXPECT_EQ(scatter_of(life, {1}), 0.0);
    for (int n = 0; n < 3; ++n) life.follow(1, 0.01 * n, 1.0);
    EXPECT_EQ(scatter_of(life, {1}), 0.0);
    EXPECT_EQ(life.losses(1), 0.0);
}

TEST(CylinderLife, WhoDoesNotScatterDoesNotBurn) {
    const Life life = of_scatter({0.06, 0.03, 0.06, 0.03});
    EXPECT_GT(scatter_of(life, {1, 3}), 3.0);
    EXPECT_LT(scatter_of(life, {0, 2}), -1.5);
    // Of both, neither alone is as likely.
    EXPECT_GT(scatter_of(life, {1, 3}), scatter_of(life, {1}) + 1.0);
    EXPECT_GT(scatter_of(life, {1, 3}), scatter_of(life, {0, 1, 3}) + 1.0);
}

TEST(CylinderLife, TheFirstFiringsTellAtOnce) {
    // Eight firings each, told together: as of a place whose firings were followed one by one, by what a variance of eight is worth.
    Life life;
    life.begin(4);
    for (int k = 0; k < 4; ++k) life.begin_with(k, 8, 0.02, k % 2 == 0 ? 0.10 * 0.10 : 0.03 * 0.03);
    const double weight = 1.0 / (0.4 * 0.4 + 3.0 / 8.0);
    EXPECT_NEAR(life.of(1).weight, weight, 1e-6);
    EXPECT_NEAR(life.of(1).excess, weight * std::log(0.03 * 0.03), 1e-5);
    EXPECT_GT(scatter_of(life, {1, 3}), 1.5);
    EXPECT_LT(scatter_of(life, {0, 2}), -1.0);
    // Firings that follow go on from there.
    for (int n = 0; n < 3; ++n) life.follow(1, 0.02, 1.0);
    EXPECT_LT(life.of(1).excess / life.of(1).weight, std::log(0.03 * 0.03));
    // Three tell nothing.
    Life few;
    few.begin(4);
    for (int k = 0; k < 4; ++k) few.begin_with(k, 3, 0.0, k % 2 == 0 ? 0.01 : 0.0009);
    EXPECT_EQ(scatter_of(few, {1, 3}), 0.0);
}

TEST(CylinderLife, EqualScatterSpeaksForLifeALittle) {
    // Measurement may drown combustion, so it never speaks loudly.
    const Life life = of_scatter({0.05, 0.05, 0.05, 0.05});
    for (const std::vector<int>& set : {std::vector<int>{0}, {1, 3}, {0, 2}, {2}}) {
        EXPECT_LT(scatter_of(life, set), 0.3);
        EXPECT_GT(scatter_of(life, set), -2.5);
    }
}

TEST(CylinderLife, SetsOfNobodyAndOfAllAreNoSets) {
    const Life life = of_scatter({0.06, 0.03, 0.06, 0.03});
    EXPECT_EQ(scatter_of(life, {}), 0.0);
    EXPECT_EQ(scatter_of(life, {0, 1, 2, 3}), 0.0);
}

TEST(CylinderLife, ScatterIsTheMeanLikelihoodOverTheShareOfTheMeasurement) {
    // Logarithms of variances are normal, with their mean unknown (marginalised) and those of the set lower by log(share); the
    // share anything between 0 and 1: midpoint rule over a hundred shares against the five that are used.
    for (const std::array<double, 4>& deviation :
         {std::array<double, 4>{0.06, 0.04, 0.055, 0.036}, {0.05, 0.05, 0.06, 0.045}}) {
        const Life life = of_scatter(deviation);
        std::array<double, 4> weight{};
        std::array<double, 4> value{};
        for (int k = 0; k < 4; ++k) {
            const auto one = life.of(k);
            weight[static_cast<std::size_t>(k)] = one.weight;
            value[static_cast<std::size_t>(k)] = one.excess / one.weight;
        }
        const auto misfit = [&](double lower) {
            double sum = 0.0;
            double mean = 0.0;
            for (std::size_t k = 0; k < 4; ++k) {
                sum += weight[k];
                mean += weight[k] * (value[k] - (k % 2 == 1 ? lower : 0.0));
            }
            double square = 0.0;
            for (std::size_t k = 0; k < 4; ++k)
                square += weight[k] * std::pow(value[k] - (k % 2 == 1 ? lower : 0.0) - mean / sum, 2.0);
            return square;
        };
        double likelihood = 0.0;
        for (int i = 0; i < 100; ++i)
            likelihood += 0.01 * std::exp(-0.5 * (misfit(std::log((i + 0.5) / 100.0)) - misfit(0.0)));
        EXPECT_NEAR(scatter_of(life, {1, 3}), std::log(likelihood), 0.25);
    }
}

TEST(CylinderLife, OneWildFiringDoesNotMakeACylinderScatter) {
    Life calm = of_scatter({0.05, 0.05, 0.05, 0.05});
    const double before = calm.of(2).excess / calm.of(2).weight;
    calm.follow(2, 1.0, 1.0);
    EXPECT_LT(calm.of(2).excess / calm.of(2).weight - before, 0.1);
}

TEST(CylinderLife, TwoWholeLossesProveThatThereIsWorkToLose) {
    Life life;
    life.begin(4);
    // Of a hundred firings that lost nothing, each is a little likelier from a dead cylinder.
    for (int n = 0; n < 100; ++n) life.weigh_loss(1, -12.0);
    EXPECT_NEAR(life.losses(1), 100.0 * std::log1p(-0.02), 0.02);
    life.weigh_loss(1, 12.0);
    EXPECT_LT(life.losses(1), 6.5);
    life.weigh_loss(1, 12.0);
    EXPECT_GT(life.losses(1), 12.0);
    EXPECT_EQ(life.losses(0), 0.0);
    // However many, a later one may say otherwise.
    for (int n = 0; n < 10000; ++n) life.weigh_loss(1, -30.0);
    EXPECT_GE(life.losses(1), -3.0);
    for (int n = 0; n < 100; ++n) life.weigh_loss(1, 100.0);
    EXPECT_LE(life.losses(1), 20.0);
}

}  // namespace
}  // namespace kurbel::test
