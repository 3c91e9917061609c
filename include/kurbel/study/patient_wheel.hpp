// Which tooth every crank edge of a whole recording was, told with hindsight: for a starter that drags the crank over compression.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/core/config.hpp"

namespace kurbel {

/// One tooth with its absolute place: revolutions times the wheel's teeth, plus the tooth's index.
struct PlacedTooth {
    std::int64_t tick = 0;
    std::int64_t place = 0;
};

/// The longest connected run of teeth in a list of crank edges.
struct PlacedTrack {
    std::vector<PlacedTooth> teeth;  ///< in order; a missed tooth is a jump of `place` by more than 1
    int missed = 0;
    int extra = 0;  ///< edges dropped as no tooth
};

/// Places `edge` (unwrapped ticks, rising) on the wheel by the cheapest of all stories (Viterbi, IEEE Trans. Inf. Theory 13:260,
/// 1967): each edge is the next tooth, the one after a missed tooth, or no tooth; a story costs what its speeds bend from tooth
/// to tooth, measured against what the pitch allows. The streaming Decoder decides within a revolution; while a starter turns an
/// engine, speed triples within a few teeth, and only the same gap over many revolutions is beyond doubt. A wheel without a
/// gap gives an empty track, and so do fewer than two revolutions. Standstill (half a second without an edge) parts tracks.
[[nodiscard]] PlacedTrack place_teeth(const std::vector<std::int64_t>& edge, const WheelConfig& wheel, double hz);

}  // namespace kurbel
