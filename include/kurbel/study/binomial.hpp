// Exact confidence intervals for a proportion.
#pragma once

#include <cmath>
#include <cstdint>

#include "kurbel/core/types.hpp"

namespace kurbel {

/// Bounds of a share.
struct Interval {
    double low = 0.0;
    double high = 1.0;
};

namespace detail {

/// Continued fraction of the incomplete beta function by Lentz's method (Abramowitz & Stegun 26.5.8). Converges in about
/// sqrt(max(a, b)) steps for x < (a + 1) / (a + b + 2).
[[nodiscard]] inline double beta_fraction(double a, double b, double x) noexcept {
    constexpr double kTiny = 1e-300;
    constexpr double kEnough = 1e-16;
    constexpr int kMostSteps = 1000000;
    const auto away_from_zero = [](double value) { return std::abs(value) < kTiny ? kTiny : value; };
    double c = 1.0;
    double d = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    double fraction = d;
    for (int step = 1; step <= kMostSteps; ++step) {
        const double m = step;
        const double even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / away_from_zero(1.0 + even * d);
        c = away_from_zero(1.0 + even / c);
        fraction *= d * c;
        const double odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / away_from_zero(1.0 + odd * d);
        c = away_from_zero(1.0 + odd / c);
        fraction *= d * c;
        if (std::abs(d * c - 1.0) < kEnough * 4.0) break;
    }
    return fraction;
}

}  // namespace detail

/// Regularised incomplete beta function I_x(a, b) for a, b > 0 and x in 0 to 1 (Abramowitz & Stegun 6.6.2); NaN elsewhere.
[[nodiscard]] inline double incomplete_beta(double a, double b, double x) noexcept {
    if (!(a > 0.0) || !(b > 0.0) || !(x >= 0.0 && x <= 1.0)) return kUnknown;
    if (x == 0.0 || x == 1.0) return x;
    const double log_front =
        std::lgamma(a + b) - std::lgamma(a) - std::lgamma(b) + a * std::log(x) + b * std::log1p(-x);
    const double front = std::exp(log_front);
    if (x < (a + 1.0) / (a + b + 2.0)) return front * detail::beta_fraction(a, b, x) / a;
    return 1.0 - front * detail::beta_fraction(b, a, 1.0 - x) / b;
}

/// The x at which I_x(a, b) = probability, by bisection to the last digits; NaN outside 0 to 1.
[[nodiscard]] inline double inverse_incomplete_beta(double a, double b, double probability) noexcept {
    if (!(probability >= 0.0 && probability <= 1.0)) return kUnknown;
    double low = 0.0;
    double high = 1.0;
    // Each step halves the bracket; small answers need more steps to have as many digits as large ones.
    constexpr int kMostSteps = 1100;
    for (int step = 0; step < kMostSteps; ++step) {
        const double middle = 0.5 * (low + high);
        if (middle <= low || middle >= high || high - low <= 1e-15 * high) break;
        if (incomplete_beta(a, b, middle) < probability)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}

/// Exact two-sided interval of Clopper and Pearson (Biometrika 26:404-413, 1934) for the share behind `successes` in
/// `trials`, each side missing with (1 - confidence) / 2. No trials: 0 to 1. Counts that cannot be, or a confidence outside
/// 0 to 1: NaN. Takes microseconds; cost grows with the square root of `trials`.
[[nodiscard]] inline Interval exact_interval(std::int64_t successes, std::int64_t trials,
                                             double confidence = 0.95) noexcept {
    if (successes < 0 || successes > trials || !(confidence > 0.0 && confidence < 1.0)) return {kUnknown, kUnknown};
    if (trials == 0) return {0.0, 1.0};
    const double tail = 0.5 * (1.0 - confidence);
    const auto x = static_cast<double>(successes);
    const auto n = static_cast<double>(trials);
    Interval interval;
    // At the edges the beta quantile has a closed form, which keeps all digits.
    if (successes == 0) {
        interval.high = -std::expm1(std::log(tail) / n);
    } else if (successes == trials) {
        interval.low = std::exp(std::log(tail) / n);
    } else {
        interval.low = inverse_incomplete_beta(x, n - x + 1.0, tail);
        interval.high = inverse_incomplete_beta(x + 1.0, n - x, 1.0 - tail);
    }
    return interval;
}

/// Smallest count that a Poisson variable of this mean exceeds with at most `chance` (0 to 1, above 0). Means up to some hundreds,
/// beyond which exp(-mean) is 0 and the answer `most`.
[[nodiscard]] inline std::int64_t poisson_limit(double mean, double chance, std::int64_t most) noexcept {
    double term = std::exp(-mean);
    double sum = term;
    std::int64_t count = 0;
    while (count < most && 1.0 - sum > chance) {
        ++count;
        term *= mean / static_cast<double>(count);
        sum += term;
    }
    return count;
}

}  // namespace kurbel
