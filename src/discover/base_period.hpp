// After how many edges the pattern of tooth intervals comes back.
#pragma once

#include <vector>

namespace kurbel::discover {

/// One candidate count of edges.
struct Recurrence {
    int edges = 0;
    /// Mean square by which the roughness of the logarithmic intervals differs after so many edges, over twice its variance: 0 =
    /// comes back exactly, 1 = nothing in common. Roughness is an interval against the mean of its neighbours, in which
    /// speed and its swings cancel.
    double mismatch = 1.0;
    bool doubled =
        false;  ///< half as many fit, too, but worse: two rounds that are nearly alike, or one of an engine's cycle
    bool doubtful = false;  ///< twice as many fit far better: another wheel, or an engine whose revolutions differ much
};

inline constexpr int kMostPeriod = 420;

/// Mismatch of every count from 1 to kMostPeriod (as far as the edges reach), in rising order. A low quantile over windows
/// stands for each, so that windows with a missed or false edge do not count.
[[nodiscard]] std::vector<Recurrence> recurrences(const std::vector<double>& edge_s);

/// The smallest count at which the pattern comes back; 0 where it does not.
[[nodiscard]] Recurrence base_period(const std::vector<Recurrence>& all);

}  // namespace kurbel::discover
