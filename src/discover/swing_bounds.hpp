// How far the engine's own swing of speed moves teeth, from what is seen of it and from what engines do.
#pragma once

#include <vector>

#include "discover/fold.hpp"
#include "discover/tooth_pattern.hpp"

namespace kurbel::discover {

/// How far an engine can seem to move a tooth by its own swing of speed, at most. An engine that runs at all swings by less than 0.4 of
/// its speed at idle, 800 rpm (judged; no source); gas makes that fall with the square of speed, pistons leave one in a hundred. A swing
/// of order 1, the slowest that comes back every revolution, moves angles by as many radians.
[[nodiscard]] double most_swing_deg(const std::vector<double>& edge_s, const Fold& fold);

/// How far teeth move between the two revolutions of a cycle.
[[nodiscard]] double halves_deg(const std::vector<double>& edge_s, const Fold& fold);

/// By which a tooth of `pattern`, whose angles, `most_swing_deg` and `halves_deg` are known, seems to move with the speed within the cycle.
[[nodiscard]] double swing_deg(const std::vector<double>& edge_s, const Fold& fold, const ToothPattern& pattern);

}  // namespace kurbel::discover
