// What of a lap's angles would be left at a speed without end: teeth, and not the engine's swing.
//
// Gas moves teeth by an angle that falls with the square of the speed (energy of the swing over that of the crank); what pistons do, whose
// share does not fall, comes to half a degree at most and is the same in both revolutions of a cycle. So a straight line over the square of
// the lap's time begins at the teeth. Loads that change along with the speed bend the line, and that shows as doubt.
#pragma once

#include <vector>

#include "discover/fold.hpp"

namespace kurbel::discover {

/// Angles, degrees of a lap, as they would be at a speed without end.
struct Still {
    std::vector<double> seen_deg;   ///< mean over the speeds
    std::vector<double> still_deg;  ///< of it, what does not fall with the square of the speed
    double doubt_deg = 0.0;         ///< standard error of that, rms over the angles
    bool known = false;             ///< false where the speeds lie too near to each other, or laps are too few
};

/// Where each edge behind a lap's first stands, and its end at 360: means over both laps of neighbours, which half orders move apart.
[[nodiscard]] Still still_places(const std::vector<double>& edge_s, const Fold& fold);

/// By how much every second lap's edges stand farther than its neighbours', and its end. Revolutions of one engine differ by gas alone, so
/// that nothing is left of it; where laps are parts of a revolution, their teeth are.
[[nodiscard]] Still still_alternation(const std::vector<double>& edge_s, const Fold& fold);

/// The same as it is seen, at the middle of all speeds: from the least to the most, where a lap begins at 0; 0 where laps are too few.
[[nodiscard]] double seen_alternation_deg(const std::vector<double>& edge_s, const Fold& fold);

/// Mean square of what alternates from lap to lap over what chance would make of it, in the middle half of the recording's stretches; 0 where
/// they are too few. Noise alone makes it about 3: each lap counts in three differences.
[[nodiscard]] double alternation_over_chance(const std::vector<double>& edge_s, const Fold& fold);

/// Root of the mean square.
[[nodiscard]] double size_deg(const std::vector<double>& deg);

}  // namespace kurbel::discover
