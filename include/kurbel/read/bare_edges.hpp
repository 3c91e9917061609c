// Edges whose wheel and engine nobody has described yet.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "kurbel/read/recording.hpp"

namespace kurbel::read {

/// A recording as far as it can be read without its description.
struct BareEdges {
    Recording recording{};   ///< edges, timer; engine and wheel only where `described`
    bool described = false;  ///< a whole recording.toml stood beside the edges
    bool has_timer = false;  ///< edges are timer ticks, else seconds
    std::string why_not;     ///< what was wrong with the description, where there is one that cannot be used
};

/// Reads `input`: a recording folder, whose recording.toml may be missing or unfinished, or an edges.csv by itself. `timer`, where
/// given, goes before the description's. Throws InputError: no edges, a file that cannot be read, ticks without a timer.
[[nodiscard]] BareEdges read_bare_edges(const std::string& input, const std::optional<TimerConfig>& timer = {});

/// Stretches in which the channel fuel_cut is set, from and to, seconds on the unwrapped clock.
[[nodiscard]] std::vector<std::pair<double, double>> fuel_cuts_s(const Recording& recording);

}  // namespace kurbel::read
