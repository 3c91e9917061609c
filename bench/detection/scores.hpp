// Scores that need a threshold: the best one that the truth can find, and the area under the ROC curve.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <vector>

#include "firings.hpp"
#include "kurbel/study/score.hpp"

namespace kurbel_detection {

/// One number a firing, larger where it looks more like a misfire; NaN where there is none.
using Scores = std::vector<double>;

/// Scores of firings that count, told apart by the truth.
struct Pool {
    std::vector<double> healthy;
    std::vector<double> misfires;

    /// Adds a recording's, those that are NaN left out.
    void add(const Scores& scores, const std::vector<Firing>& firings) {
        for (std::size_t i = 0; i < firings.size(); ++i) {
            if (std::isnan(scores[i])) continue;
            if (firings[i].kind == Truth::healthy) healthy.push_back(scores[i]);
            if (firings[i].kind == Truth::misfire) misfires.push_back(scores[i]);
        }
    }
};

/// Fewest misses among the thresholds that accuse at most `most_false` of the healthy firings. Nobody could set that threshold
/// without the truth.
[[nodiscard]] inline kurbel::Share best_missed(Pool pool, double most_false) {
    kurbel::Share missed{0, static_cast<std::int64_t>(pool.misfires.size())};
    const auto allowed = static_cast<std::size_t>(std::floor(most_false * static_cast<double>(pool.healthy.size())));
    if (allowed >= pool.healthy.size()) return missed;
    const auto limit = pool.healthy.begin() + static_cast<std::ptrdiff_t>(allowed);
    std::nth_element(pool.healthy.begin(), limit, pool.healthy.end(), std::greater<>());
    missed.count = std::count_if(pool.misfires.begin(), pool.misfires.end(), [&](double s) { return s <= *limit; });
    return missed;
}

/// Chance that a misfire scores above a healthy firing, ties counted half: Mann and Whitney, Annals of Mathematical Statistics 18
/// (1947), over the number of pairs. NaN without either.
[[nodiscard]] inline double area_under_roc(Pool pool) {
    if (pool.healthy.empty() || pool.misfires.empty()) return kurbel::kUnknown;
    std::sort(pool.healthy.begin(), pool.healthy.end());
    double wins = 0.0;
    for (const double score : pool.misfires) {
        const auto [first, last] = std::equal_range(pool.healthy.begin(), pool.healthy.end(), score);
        wins += static_cast<double>(first - pool.healthy.begin()) + 0.5 * static_cast<double>(last - first);
    }
    return wins / (static_cast<double>(pool.healthy.size()) * static_cast<double>(pool.misfires.size()));
}

/// Median of the values; NaN of none.
[[nodiscard]] inline double median(std::vector<double> values) {
    if (values.empty()) return kurbel::kUnknown;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Shifts and scales so that the healthy firings of this recording have median 0 and a median distance of 1 from it: one
/// threshold then serves recordings of different engines.
inline void standardise(Scores& scores, const std::vector<Firing>& firings) {
    std::vector<double> healthy;
    for (std::size_t i = 0; i < scores.size(); ++i)
        if (firings[i].kind == Truth::healthy && !std::isnan(scores[i])) healthy.push_back(scores[i]);
    const double middle = median(healthy);
    for (double& value : healthy) value = std::abs(value - middle);
    const double width = median(healthy);
    for (double& score : scores) score = (score - middle) / (width > 0.0 ? width : 1.0);
}

}  // namespace kurbel_detection
