// Runs of equal outcomes in a row of yes and no: do they come together, or take turns, more than chance allows?
#pragma once

#include <cmath>
#include <cstdint>
#include <vector>

#include "kurbel/core/types.hpp"

namespace kurbel {

/// Counts of one unbroken stretch of outcomes. A run is a longest row of equal ones.
struct Stretch {
    std::int64_t ones = 0;
    std::int64_t zeros = 0;
    std::int64_t runs = 0;
};

/// The test of Wald and Wolfowitz (Ann. Math. Stat. 11:147-162, 1940), for one stretch or several together.
struct RunsTest {
    std::int64_t runs = 0;
    double expected = kUnknown;  ///< runs to expect if every order of the outcomes is equally likely
    double deviation = kUnknown;
    double few = 1.0;   ///< chance of so few runs or fewer: small where equal outcomes come together
    double many = 1.0;  ///< chance of so many runs or more: small where outcomes take turns
    bool exact = true;  ///< `few` and `many` from the distribution itself, else from the normal one
};

namespace detail {

[[nodiscard]] inline double log_choose(std::int64_t n, std::int64_t k) noexcept {
    const auto term = [](std::int64_t of) { return std::lgamma(static_cast<double>(of) + 1.0); };
    return term(n) - term(k) - term(n - k);
}

}  // namespace detail

/// Upper tail of the standard normal distribution.
[[nodiscard]] inline double normal_beyond(double z) noexcept { return 0.5 * std::erfc(z / std::sqrt(2.0)); }

/// Chance of each number of runs, from 0 to 2 min(ones, zeros) + 1, where every order is equally likely. Allocates.
[[nodiscard]] inline std::vector<double> runs_distribution(std::int64_t ones, std::int64_t zeros) {
    if (ones <= 0 || zeros <= 0) {
        std::vector<double> one_run(ones + zeros > 0 ? 2U : 1U, 0.0);
        one_run.back() = 1.0;
        return one_run;
    }
    const std::int64_t most = 2 * (ones < zeros ? ones : zeros) + 1;
    std::vector<double> chance(static_cast<std::size_t>(most) + 1, 0.0);
    const double all = detail::log_choose(ones + zeros, ones);
    const auto ways = [&](std::int64_t runs_of_ones, std::int64_t runs_of_zeros) {
        if (runs_of_ones < 1 || runs_of_ones > ones || runs_of_zeros < 1 || runs_of_zeros > zeros) return 0.0;
        return std::exp(detail::log_choose(ones - 1, runs_of_ones - 1) +
                        detail::log_choose(zeros - 1, runs_of_zeros - 1) - all);
    };
    for (std::int64_t runs = 2; runs <= most; ++runs) {
        const std::int64_t half = runs / 2;
        chance[static_cast<std::size_t>(runs)] =
            runs % 2 == 0 ? 2.0 * ways(half, half) : ways(half, half + 1) + ways(half + 1, half);
    }
    return chance;
}

/// Adds up the stretches: each keeps its own counts of ones and zeros, so what differs between stretches counts for nothing.
/// Exact while at most `kMostExact` ones (or zeros, whichever is rarer) are there. Allocates.
[[nodiscard]] inline RunsTest runs_test(const std::vector<Stretch>& stretches) {
    constexpr std::int64_t kMostExact = 400;
    RunsTest test;
    double mean = 0.0;
    double variance = 0.0;
    std::int64_t rarer = 0;
    std::int64_t fixed = 0;  // runs that no order could change
    for (const Stretch& stretch : stretches) {
        test.runs += stretch.runs;
        const auto a = static_cast<double>(stretch.ones);
        const auto b = static_cast<double>(stretch.zeros);
        const double n = a + b;
        if (stretch.ones == 0 || stretch.zeros == 0) {
            fixed += n > 0.0 ? 1 : 0;
            continue;
        }
        mean += 1.0 + 2.0 * a * b / n;
        if (n > 1.0) variance += 2.0 * a * b * (2.0 * a * b - n) / (n * n * (n - 1.0));
        rarer += stretch.ones < stretch.zeros ? stretch.ones : stretch.zeros;
    }
    test.expected = mean + static_cast<double>(fixed);
    test.deviation = std::sqrt(variance);
    if (!(variance > 0.0)) return test;
    test.exact = rarer <= kMostExact;
    if (!test.exact) {
        const double distance = static_cast<double>(test.runs) - test.expected;
        test.few = normal_beyond(-(distance + 0.5) / test.deviation);
        test.many = normal_beyond((distance - 0.5) / test.deviation);
        return test;
    }
    std::vector<double> sum{1.0};
    for (const Stretch& stretch : stretches) {
        if (stretch.ones == 0 || stretch.zeros == 0) continue;
        const std::vector<double> one = runs_distribution(stretch.ones, stretch.zeros);
        std::vector<double> next(sum.size() + one.size() - 1, 0.0);
        for (std::size_t i = 0; i < sum.size(); ++i)
            for (std::size_t j = 0; j < one.size(); ++j) next[i + j] += sum[i] * one[j];
        sum = std::move(next);
    }
    const std::int64_t seen = test.runs - fixed;
    test.few = 0.0;
    test.many = 0.0;
    for (std::size_t i = 0; i < sum.size(); ++i) {
        if (static_cast<std::int64_t>(i) <= seen) test.few += sum[i];
        if (static_cast<std::int64_t>(i) >= seen) test.many += sum[i];
    }
    test.few = std::fmin(test.few, 1.0);
    test.many = std::fmin(test.many, 1.0);
    return test;
}

}  // namespace kurbel
