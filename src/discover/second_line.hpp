// The second line of edges: after how many crank edges it comes back, and where it stands on the wheel.
#pragma once

#include <vector>

#include "discover/fold.hpp"
#include "discover/tooth_pattern.hpp"
#include "kurbel/discover/discovery.hpp"

namespace kurbel::discover {

/// How the second line repeats among the crank edges.
struct MarkLap {
    int marks = 0;       ///< of one lap; 0: it does not repeat
    int edges = 0;       ///< crank edges between a mark and the same mark a lap later
    double share = 0.0;  ///< of the laps that have exactly so many
};

[[nodiscard]] MarkLap mark_lap(const std::vector<double>& edge_s, const std::vector<double>& mark_s);

/// Where the marks stand, on a wheel whose revolutions are `turns`.
[[nodiscard]] CamFinding place_marks(const std::vector<double>& edge_s, const std::vector<double>& mark_s,
                                     const Fold& turns, const ToothPattern& pattern);

}  // namespace kurbel::discover
