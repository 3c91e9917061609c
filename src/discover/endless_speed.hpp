// What angles would be at a speed without end, from how they change along a stretch of the recording.
#pragma once

#include <cstddef>
#include <vector>

#include "discover/still.hpp"

namespace kurbel::discover {

/// Angles seen in one place of the recording.
struct Sight {
    double lap_s = 0.0;
    std::vector<double> deg;
};

/// Neighbouring sights together: their middle means, and what chance makes of those.
struct Group {
    double square = 0.0;  ///< of the lap's time, over its mean
    std::vector<double> deg;
    double variance = 0.0;  ///< of one angle, mean over them
};

/// In order of time.
[[nodiscard]] std::vector<Group> groups_of(const std::vector<Sight>& sights);

/// From the stretch of the recording that tells most precisely: where pedal or fuel change, so does the torque at the same speed, and a line
/// through both is none. Unknown where no stretch spans speeds enough.
[[nodiscard]] Still at_endless_speed(const std::vector<Sight>& sights);

}  // namespace kurbel::discover
