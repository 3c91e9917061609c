// Two shares compared.
#pragma once

#include <cmath>
#include <cstdint>

#include "kurbel/core/types.hpp"

namespace kurbel {

/// So many of so many.
struct Counts {
    std::int64_t count = 0;
    std::int64_t of = 0;
};

/// z of two proportions with pooled variance: (p1 - p2) / sqrt(p (1 - p) (1/n1 + 1/n2)). NaN where a side is empty or nothing
/// varies. (Any textbook; check value in facts: 15/300 against 6/300 gives 1.99926.)
[[nodiscard]] inline double two_proportions_z(const Counts& a, const Counts& b) noexcept {
    if (a.of <= 0 || b.of <= 0) return kUnknown;
    const auto n1 = static_cast<double>(a.of);
    const auto n2 = static_cast<double>(b.of);
    const double p = static_cast<double>(a.count + b.count) / (n1 + n2);
    const double variance = p * (1.0 - p) * (1.0 / n1 + 1.0 / n2);
    if (!(variance > 0.0)) return kUnknown;
    return (static_cast<double>(a.count) / n1 - static_cast<double>(b.count) / n2) / std::sqrt(variance);
}

/// Fisher's exact test (J. R. Stat. Soc. 85:87-94, 1922), two-sided: the chance, margins given, of a table no more likely than
/// this one. 1 where a side is empty; NaN for counts that cannot be. Cost grows with the smaller margin.
[[nodiscard]] inline double fisher_exact(const Counts& a, const Counts& b) noexcept {
    if (a.count < 0 || b.count < 0 || a.count > a.of || b.count > b.of) return kUnknown;
    const std::int64_t hits = a.count + b.count;
    const std::int64_t all = a.of + b.of;
    const auto log_choose = [](std::int64_t n, std::int64_t k) {
        return std::lgamma(static_cast<double>(n) + 1.0) - std::lgamma(static_cast<double>(k) + 1.0) -
               std::lgamma(static_cast<double>(n - k) + 1.0);
    };
    const auto log_chance = [&](std::int64_t k) {
        return log_choose(a.of, k) + log_choose(b.of, hits - k) - log_choose(all, hits);
    };
    const std::int64_t lowest = hits > b.of ? hits - b.of : 0;
    const std::int64_t highest = hits < a.of ? hits : a.of;
    constexpr double kSame = 1e-7;  // tables as likely as this one count too, whatever rounding says
    const double limit = log_chance(a.count) + kSame;
    double total = 0.0;
    for (std::int64_t k = lowest; k <= highest; ++k)
        if (const double chance = log_chance(k); chance <= limit) total += std::exp(chance);
    return total < 1.0 ? total : 1.0;
}

}  // namespace kurbel
