// Why no firing of a recording was judged, and what to do about it.
#pragma once

#include <string>

#include "kurbel/study/judged_recording.hpp"

namespace kurbel {

/// The likeliest reason with its remedy, to stand behind "no firing could be judged: ". The most frequent reason of the
/// firings; where there are none, whether the crank turned at all.
[[nodiscard]] std::string why_unjudged(const JudgedRecording& recording);

}  // namespace kurbel
