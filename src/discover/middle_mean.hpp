// A mean that a few damaged laps do not move.
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

}  // namespace kurbel::discover
