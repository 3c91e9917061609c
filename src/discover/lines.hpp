// Crank and cam edges on one unwrapped clock.
#pragma once

#include <utility>
#include <vector>

#include "kurbel/discover/discovery.hpp"

namespace kurbel::discover {

struct Lines {
    std::vector<double> crank_s;  ///< from the first edge; strictly rising
    std::vector<double> cam_s;
    std::vector<std::pair<double, double>> fuel_cut_s;  ///< on the same clock
    double duration_s = 0.0;
    double tick_s = 1e-9;  ///< of the timer
};

/// Edges that stand still or run backwards are left out.
[[nodiscard]] Lines unwrapped(const EdgeLines& lines);

}  // namespace kurbel::discover
