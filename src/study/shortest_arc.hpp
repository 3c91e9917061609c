// Places on a circle that still stand open.
#pragma once

#include <algorithm>
#include <cstddef>
#include <utility>
#include <vector>

namespace kurbel {

/// The shortest arc that holds all marked places of a circle: its first place, and how many.
[[nodiscard]] inline std::pair<std::size_t, std::size_t> shortest_arc(const std::vector<bool>& marked) {
    const std::size_t places = marked.size();
    std::size_t longest = 0;
    std::size_t begin = 0;
    std::size_t gap = 0;
    for (std::size_t i = 0; i < 2 * places; ++i) {
        if (!marked[i % places]) {
            ++gap;
            continue;
        }
        if (gap > longest) {
            longest = gap;
            begin = i % places;
        }
        gap = 0;
    }
    return {begin, places - std::min(longest, places)};
}

}  // namespace kurbel
