// A recording's edges as discover() takes them.
#pragma once

#include "kurbel/discover/discovery.hpp"
#include "kurbel/read/bare_edges.hpp"

namespace kurbel::discover {

/// A view: the recording must outlive it. Fuel cuts come from the channel fuel_cut.
[[nodiscard]] inline EdgeLines edge_lines(const read::Recording& recording) {
    return {recording.tick.data(), recording.signal.data(), recording.tick.size(), recording.config.timer,
            read::fuel_cuts_s(recording)};
}

}  // namespace kurbel::discover
