// Several tests at once: chances of error that hold for all of them together.
#pragma once

#include <algorithm>
#include <cmath>
#include <vector>

namespace kurbel {

/// Adjusted p-values after Holm (Scand. J. Stat. 6:65-70, 1979): calling every test significant whose adjusted value is at most
/// a makes any false call at all with a chance of at most a, however the tests hang together. Same order as `p`; NaN (no test)
/// stays NaN and counts for nothing. Allocates.
[[nodiscard]] inline std::vector<double> holm(const std::vector<double>& p) {
    std::vector<std::size_t> order;
    for (std::size_t i = 0; i < p.size(); ++i)
        if (!std::isnan(p[i])) order.push_back(i);
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return p[a] < p[b]; });
    std::vector<double> adjusted = p;
    double largest = 0.0;
    for (std::size_t rank = 0; rank < order.size(); ++rank) {
        largest = std::max(largest, p[order[rank]] * static_cast<double>(order.size() - rank));
        adjusted[order[rank]] = std::min(largest, 1.0);
    }
    return adjusted;
}

}  // namespace kurbel
