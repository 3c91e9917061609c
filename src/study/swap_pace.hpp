// How fast firings that count come in, so that a number of them can be told as seconds.
#pragma once

#include <vector>

#include "kurbel/study/judged_recording.hpp"
#include "kurbel/study/similar_conditions.hpp"

namespace kurbel::swap {

struct Pace {
    double cycles_per_second = 0.0;  ///< that count, in AFTER once the engine is learned; 0 where none do
    double spread = 0.0;  ///< relative standard deviation of the pace: speed wanders, and so does what a second holds
};

[[nodiscard]] Pace pace_of(const std::vector<JudgedRecording>& before, const std::vector<JudgedRecording>& after,
                           const CommonFirings& common);

}  // namespace kurbel::swap
