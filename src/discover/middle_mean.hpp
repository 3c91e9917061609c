// Means that a few damaged laps do not move.
#pragma once

#include <algorithm>
#include <cstddef>
#include <numeric>
#include <vector>

namespace kurbel::discover {

/// Mean of the middle half of at least one value: as steady as a mean, as hard to move as a median. A missed edge beside a false one may
/// pass for a lap.
[[nodiscard]] inline double middle_mean(std::vector<double> values) {
    std::sort(values.begin(), values.end());
    const auto quarter = static_cast<std::ptrdiff_t>(values.size() / 4);
    return std::accumulate(values.begin() + quarter, values.end() - quarter, 0.0) /
           static_cast<double>(static_cast<std::ptrdiff_t>(values.size()) - 2 * quarter);
}

/// Of at least one value; the upper one of two.
[[nodiscard]] inline double median(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

}  // namespace kurbel::discover
