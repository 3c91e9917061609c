// What a search for the wheel hands on, and how its findings are filled in.
#pragma once

#include <string>
#include <vector>

#include "discover/fold.hpp"
#include "discover/tooth_pattern.hpp"
#include "kurbel/discover/discovery.hpp"

namespace kurbel::discover {

struct WheelSearch {
    WheelFinding finding;
    Fold turns;  ///< whole revolutions
    ToothPattern pattern;
};

/// With fewer edges a lap, the shortest waves along it are still the engine's: no fingerprint of teeth.
inline constexpr int kShortWaves = 24;

[[nodiscard]] bool has_gap(const ToothPattern& pattern);

/// Sure from 0.99 on, likely from 0.9.
void settle(WheelSearch& search, double confidence, std::string why, std::string raise);

/// Fills in what the pattern of one revolution of `search.turns` holds.
void describe(const std::vector<double>& edge_s, WheelSearch& search);

}  // namespace kurbel::discover
