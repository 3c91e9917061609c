// Published methods on the same firings. Their scores have no threshold; each gets the best one that the truth can find.
#pragma once

#include <vector>

#include "bins.hpp"
#include "scores.hpp"

namespace kurbel_detection {

/// One method can be read in several ways; the best reading counts.
using Readings = std::vector<Scores>;

/// Segment roughness (Plapp, Klenk, Moser, SAE 900232, 1990) as the library computes it: over expected work, or over each
/// cylinder's healthy scatter; accusing the firing before or the firing after its difference.
[[nodiscard]] Readings classic(const Recording& recording);

/// Energy gained less that of the same cylinder a cycle before (patent literature, background; from memory): from a segment to the
/// next, accusing the firing before or after; from the segment before a firing to the one after; or from TDC to TDC.
[[nodiscard]] Readings cycle_difference(const Bins& bins, const std::vector<Firing>& firings);

/// Order phasors (Ribbens and Rizzoni, SAE 901768, 1990): torque phasors of the orders 0.5, 1, ... below half of the firings in one
/// cycle around each firing, T_h = j h w J W_h, added up at where its combustion pushes; four angles after TDC are tried.
[[nodiscard]] Readings order_phasor(const Bins& bins, const std::vector<Firing>& firings);

}  // namespace kurbel_detection
