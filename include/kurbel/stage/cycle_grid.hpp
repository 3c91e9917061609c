// The even grid of angle bins in which one engine cycle is looked at, and where each firing lies on it.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/core/config.hpp"

namespace kurbel {

inline constexpr int kMaxBins = 48;  ///< bins in one engine cycle

/// `index` modulo `count`, for an index that is not negative. Divisions of 32 bits cost a third of those of 64, and bins are
/// numbered for two weeks before they need more.
[[nodiscard]] constexpr int place_of(std::int64_t index, int count) noexcept {
    const auto wide = static_cast<std::uint64_t>(index);
    if (wide <= UINT32_MAX)
        return static_cast<int>(static_cast<std::uint32_t>(wide) % static_cast<std::uint32_t>(count));
    return static_cast<int>(index % count);
}

/// Grid of `bins` equal bins in one engine cycle; bin 0 begins at cylinder 1's firing TDC. The number is even, so that a
/// bin and the one 360 degrees on lie at the same teeth of the wheel (four-stroke); it makes every firing TDC a bin's
/// beginning where that is possible with bins of 15 to 24 degrees, not finer than the wheel's own teeth.
struct CycleGrid {
    int bins = 0;
    double bin_deg = 0.0;
    int firings = 0;                                    ///< in one cycle, = cylinders
    std::array<std::int16_t, kMaxCylinders> tdc_bin{};  ///< first bin after each firing TDC, in firing order
    std::array<double, kMaxCylinders> tdc_offset{};     ///< firing TDC less that bin's beginning, in bins, -0.5 to 0.5
    std::array<std::int8_t, kMaxBins> firing_at{};      ///< place in the firing order whose TDC bin this is, else -1
};

namespace detail {

/// Largest distance of a firing TDC from the grid, in bins.
[[nodiscard]] inline double grid_misfit(const EngineConfig& engine, int bins) noexcept {
    double worst = 0.0;
    for (int i = 0; i < engine.cylinders; ++i) {
        const double place = engine.firing_tdc_deg[static_cast<std::size_t>(i)] * bins / engine.cycle_deg();
        worst = std::fmax(worst, std::fabs(place - std::round(place)));
    }
    return worst;
}

}  // namespace detail

/// Chooses the grid for this engine and wheel.
[[nodiscard]] inline CycleGrid make_cycle_grid(const EngineConfig& engine, const WheelConfig& wheel) noexcept {
    CycleGrid grid;
    const double cycle_deg = engine.cycle_deg();
    // Not finer than the teeth, else neighbouring bins would share one tooth period.
    const double pitch_deg = 360.0 / std::fmax(1.0, wheel.positions > 0 ? wheel.positions : wheel.teeth);
    const double finest_deg = std::fmax(14.9, pitch_deg);
    int best = 0;
    double best_misfit = 2.0;
    // A coarse wheel may need bins wider than its pitch to meet every TDC; that is tried second.
    for (const double coarsest_deg : {std::fmax(24.0, pitch_deg), std::fmax(24.0, 1.6 * pitch_deg)}) {
        for (int bins = 2; bins <= kMaxBins; bins += 2) {
            const double width = cycle_deg / bins;
            if (width > coarsest_deg + 1e-9 || width < finest_deg - 1e-9) continue;
            const double misfit = detail::grid_misfit(engine, bins);
            if (misfit < best_misfit - 0.02) {
                best = bins;
                best_misfit = misfit;
            }
        }
        if (best_misfit < 0.1) break;
    }
    if (best == 0) best = 2 * static_cast<int>(std::fmax(1.0, std::floor(0.5 * cycle_deg / pitch_deg)));
    if (best > kMaxBins) best = kMaxBins;
    grid.bins = best;
    grid.bin_deg = cycle_deg / best;
    grid.firings = engine.cylinders;
    grid.firing_at.fill(-1);
    for (int i = 0; i < engine.cylinders; ++i) {
        const auto at = static_cast<std::size_t>(i);
        const double place = engine.firing_tdc_deg[at] / grid.bin_deg;
        const int nearest = static_cast<int>(std::lround(place));
        grid.tdc_bin[at] = static_cast<std::int16_t>(nearest % best);
        grid.tdc_offset[at] = place - nearest;
        grid.firing_at[static_cast<std::size_t>(grid.tdc_bin[at])] = static_cast<std::int8_t>(i);
    }
    return grid;
}

}  // namespace kurbel
