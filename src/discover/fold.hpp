// The edges laid over each other, pattern by pattern.
#pragma once

#include <cstdint>
#include <vector>

#include "discover/lines.hpp"

namespace kurbel::discover {

/// One whole pattern without a missed or false edge.
struct Lap {
    std::size_t first = 0;    ///< crank edge that begins it
    std::int64_t number = 0;  ///< patterns since the section's first, lost ones counted by time
    int section = 0;          ///< numbers of different sections are not connected
};

struct Fold {
    int edges = 0;                     ///< of a lap
    std::vector<double> log_interval;  ///< mean logarithm of each interval over the lap's geometric mean
    std::vector<Lap> laps;
    double possible = 0.0;  ///< laps that there could be, by the number of edges

    [[nodiscard]] double whole_share() const {
        return possible > 0.0 ? static_cast<double>(laps.size()) / possible : 0.0;
    }
};

/// Finds the pattern of `edges` intervals that comes back, wherever it stands whole.
[[nodiscard]] Fold fold_by_pattern(const std::vector<double>& edge_s, int edges);

/// Where nothing comes back but the second line's edges: laps of `edges` begin behind each `every`th of those.
[[nodiscard]] Fold fold_by_marks(const std::vector<double>& edge_s, const std::vector<double>& mark_s, int every,
                                 int edges);

/// Laps of `fold` in pairs, fours: those whose number divides by `times` (plus `shift`) and that are followed by the rest.
[[nodiscard]] Fold joined(const std::vector<double>& edge_s, const Fold& fold, int times, int shift);

/// Each lap of `fold` as `parts` laps, whose numbers count on; `parts` must divide its edges.
[[nodiscard]] Fold split(const std::vector<double>& edge_s, const Fold& fold, int parts);

/// Laps of the section with most of them.
[[nodiscard]] std::vector<Lap> longest_section(const Fold& fold);

/// Logarithms of a lap's intervals over their geometric mean.
[[nodiscard]] std::vector<double> log_intervals(const std::vector<double>& edge_s, std::size_t first, int edges);

}  // namespace kurbel::discover
