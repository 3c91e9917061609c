// How many places of an even wheel each interval holds.
#pragma once

#include <vector>

namespace kurbel::discover {

/// Shares of a revolution, from logarithms.
[[nodiscard]] std::vector<double> shares(const std::vector<double>& log_interval);

/// From so many teeth on neighbours tell a pitch.
inline constexpr int kManyTeeth = 16;

/// How far an interval may stand from whole pitches: teeth are placed to a tenth of a pitch, and speed swings by some percent over
/// the few degrees that a pitch of a coarse wheel spans more (common practice, no source).
inline constexpr double kWholePitch = 0.3;

struct Pitches {
    std::vector<int> whole;     ///< of each interval; empty where most do not hold one
    double worst = 0.0;         ///< largest distance from them, in pitches
    bool gap_in_doubt = false;  ///< one lies between two numbers
};

/// Of intervals that are shares of a revolution.
[[nodiscard]] Pitches whole_pitches(const std::vector<double>& share);

}  // namespace kurbel::discover
