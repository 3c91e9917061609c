// From edges in time to the counter values that a recording holds.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/simulate/wheel.hpp"

namespace kurbel::simulate {

/// Glitches, dropouts and the capture unit's latency, as the scenario has them, for a recording from 0 to its end.
void disturb(const Scenario& scenario, std::vector<SimulatedEdge>& edges);

/// Raw ticks in order of time. `clock_shift_s` is what the recording's clock lags behind simulated time, so that the first raw
/// tick is the clock's value as it stands.
struct CapturedEdges {
    std::vector<std::int64_t> tick;
    std::vector<std::uint8_t> signal;
    double clock_shift_s = 0.0;
};

/// Sorts the edges and turns them into raw ticks as [timer] and [capture] want them.
[[nodiscard]] CapturedEdges capture(std::vector<SimulatedEdge>& edges, const TimerConfig& timer,
                                    const CaptureSettings& settings = {});

/// Changes what the recording says of the engine as [told] wants it.
void tell(const Scenario& scenario, Config& config) noexcept;

}  // namespace kurbel::simulate
