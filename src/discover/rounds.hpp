// Whether a lap of uneven teeth is a revolution, a part of one, or holds two of them that the engine makes look different.
//
// Three things tell. An engine comes back after two revolutions: what comes back after four laps and not after two has laps that are parts.
// What an engine does fades with the square of the speed: what is left between neighbouring laps then is teeth. And an engine swings by so much
// and no more.
#pragma once

#include <vector>

#include "discover/fold.hpp"
#include "discover/tooth_pattern.hpp"

namespace kurbel::discover {

/// What neighbouring laps are.
enum class Rounds : unsigned char {
    untold = 0,
    whole = 1,  ///< revolutions
    parts = 2   ///< of revolutions
};

struct RoundsFinding {
    Rounds rounds = Rounds::untold;
    bool by_cycle = false;  ///< every second pair of laps differs: an engine's cycle is longer than a pair
    bool at_odds = false;   ///< cycle and speeds tell different things
    /// Farther than an engine could make it seem (if laps are revolutions), degrees; 0: not farther.
    double too_far_deg = 0.0;
    bool doubtful = false;  ///< nearly as far
};

/// `one` is the pattern of a lap.
[[nodiscard]] RoundsFinding rounds_of(const std::vector<double>& edge_s, const Fold& fold, const ToothPattern& one);

/// Whether a lap, whose half comes back nearly alike, may be two revolutions that the engine alone makes different.
[[nodiscard]] bool may_be_two(const std::vector<double>& edge_s, const Fold& fold, const ToothPattern& one);

}  // namespace kurbel::discover
