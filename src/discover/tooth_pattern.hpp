// From the mean intervals of one revolution to tooth places.
#pragma once

#include <vector>

#include "discover/fold.hpp"

namespace kurbel::discover {

struct ToothPattern {
    int first = 0;                     ///< interval of the fold that begins at place 0
    int positions = 0;                 ///< even places; 0: uneven
    std::vector<int> pitches;          ///< of each interval from place 0, where `positions` > 0
    std::vector<double> measured_deg;  ///< of each tooth from place 0
    std::vector<double> nominal_deg;   ///< the same where there are places, else the measured ones
    double misplaced = 0.0;            ///< largest distance of an interval from whole pitches, in pitches
    bool doubtful = false;             ///< a gap lies between two numbers of places
    bool perhaps_vanes = false;        ///< whole places only as near as the engine's swing lets one see
    double most_swing_deg = 0.0;       ///< by which an engine can make a tooth seem to move at these speeds
    double halves_deg = 0.0;  ///< by which a tooth seems to move between a lap and the next, at most; where uneven
    double swing_deg = 0.0;   ///< by which a tooth seems to move with the engine's speed within the cycle, at most
};

/// Reads the pattern of one revolution. The engine's own swing of speed shifts measured angles: little where teeth are many,
/// some degrees where they are few and the engine is slow; `swing_deg` says how much of it shows.
[[nodiscard]] ToothPattern read_pattern(const std::vector<double>& edge_s, const Fold& fold);

/// The pattern without errors, as Fold::log_interval, from the same interval on.
[[nodiscard]] std::vector<double> ideal_log_intervals(const Fold& fold);

}  // namespace kurbel::discover
