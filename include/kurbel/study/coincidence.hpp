// How often one misfire follows another at a given distance: the autocorrelation of a row of yes and no, in counts.
#pragma once

#include <cmath>
#include <cstdint>
#include <vector>

#include "kurbel/core/types.hpp"
#include "kurbel/study/runs.hpp"

namespace kurbel {

/// One outcome of a row. `stretch` numbers the unbroken stretch that it belongs to, `chance` is that of a one here (the rate
/// under the conditions of this outcome).
struct Outcome01 {
    bool one = false;
    std::int32_t stretch = 0;
    double chance = 0.0;
};

/// Pairs of ones `lag` apart in one stretch.
struct Coincidences {
    int lag = 0;
    std::int64_t pairs = 0;         ///< pairs of places that far apart
    std::int64_t both = 0;          ///< ... with a one at either end
    std::int64_t followed = 0;      ///< ones that have a place that far behind
    double expected = 0.0;          ///< of `both`, where outcomes are independent
    double more = 1.0;              ///< chance of so many or more
    double correlation = kUnknown;  ///< lag's correlation: (both - expected) over sum chance (1 - chance)
};

/// Chance that a Poisson number of mean `mean` is `count` or more.
[[nodiscard]] inline double poisson_at_least(std::int64_t count, double mean) noexcept {
    if (count <= 0) return 1.0;
    if (!(mean > 0.0)) return 0.0;
    const auto term = [&](std::int64_t k) {
        return std::exp(static_cast<double>(k) * std::log(mean) - mean - std::lgamma(static_cast<double>(k) + 1.0));
    };
    const bool upper = static_cast<double>(count) > mean;  // the shorter, falling side is added up
    double sum = 0.0;
    if (upper) {
        for (std::int64_t k = count;; ++k) {
            const double add = term(k);
            sum += add;
            if (add < 1e-17 * sum || add == 0.0) break;
        }
        return std::fmin(sum, 1.0);
    }
    for (std::int64_t k = count - 1; k >= 0; --k) {
        const double add = term(k);
        sum += add;
        if (add < 1e-17 * sum) break;
    }
    return std::fmax(1.0 - sum, 0.0);
}

/// Counts one lag (1 or more). Rare ones coincide like a Poisson number; frequent ones (expected share of coincidences above
/// kRare) like a normal one with the variance of a product of independent outcomes about known chances, sum p p' (1-p) (1-p')
/// (Bartlett, J. R. Stat. Soc. Suppl. 8:27-41, 1946, for a white row). Linear in the row's length.
[[nodiscard]] inline Coincidences coincidences(const std::vector<Outcome01>& row, int lag) noexcept {
    constexpr double kRare = 0.04;
    Coincidences count;
    count.lag = lag;
    double variance = 0.0;
    double scale = 0.0;
    for (std::size_t i = 0, j = static_cast<std::size_t>(lag); j < row.size(); ++i, ++j) {
        if (row[i].stretch != row[j].stretch) continue;
        ++count.pairs;
        count.followed += row[i].one ? 1 : 0;
        count.both += row[i].one && row[j].one ? 1 : 0;
        const double p = row[i].chance;
        const double q = row[j].chance;
        count.expected += p * q;
        variance += p * q * (1.0 - p) * (1.0 - q);
        scale += std::sqrt(p * (1.0 - p) * q * (1.0 - q));
    }
    if (scale > 0.0) count.correlation = (static_cast<double>(count.both) - count.expected) / scale;
    if (count.pairs == 0 || !(count.expected > 0.0)) return count;
    if (count.expected <= kRare * static_cast<double>(count.pairs))
        count.more = poisson_at_least(count.both, count.expected);
    else
        count.more = variance > 0.0
                         ? normal_beyond((static_cast<double>(count.both) - 0.5 - count.expected) / std::sqrt(variance))
                         : 1.0;
    return count;
}

}  // namespace kurbel
