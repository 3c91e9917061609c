// How far the teeth of a wheel stand from their places, as the recording itself shows.
#pragma once

#include "kurbel/core/config.hpp"
#include "study/cycle_profiles.hpp"

namespace kurbel {

/// Standard deviation of one tooth's place beyond what the wheel is told to be, degrees; NaN where too few teeth stand evenly side
/// by side to tell.
///
/// A tooth that stands off makes one interval too long and the next too short, in every revolution alike; what turns the crank is
/// smooth over neighbouring teeth. So high differences of the mean revolution's intervals hold the teeth and little else; what they do
/// hold of the crank's own motion (coarse wheels, torsion) makes the figure too large rather than too small.
[[nodiscard]] double tooth_error_deg(const Config& config, const CycleProfiles& profiles);

}  // namespace kurbel
