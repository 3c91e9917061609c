// What windows around healthy firings vary by before anything is known of this engine.
#pragma once

#include <algorithm>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/window_covariance.hpp"

namespace kurbel {

/// Fills `prior`: errors of each edge, slow torque of 2 % of the expected work a bin, swing of the vehicle, scatter of 10 % in each firing around
/// (engineering ranges, from memory). `edge`: what one edge's error adds to a difference of energies, share of expected work.
inline void fill_window_prior(WindowCovariance& prior, const ResponseBank& bank, const CycleGrid& grid,
                              float edge) noexcept {
    const int size = bank.size();
    prior.begin(size);
    Window x{};
    // A tooth that comes late makes one bin slower and the next one faster.
    for (int j = -2; j < size; ++j) {
        x.fill(0);
        for (const int i : {0, 1, 2}) {
            const int at = j + i;
            if (at >= 0 && at < size) x[static_cast<std::size_t>(at)] = i == 1 ? -2.0F * edge : edge;
        }
        prior.add_prior(x, 1.0F);
    }
    x.fill(0.02F);
    prior.add_prior(x, 1.0F);
    // Vehicle and driveline swing at a few hertz, by a third of the mean torque (engineering range, from memory). The trend that is
    // taken from the cycle before is therefore a little old, the less the faster the engine turns.
    const float per_bin = static_cast<float>(grid.firings) / static_cast<float>(grid.bins);
    const float swing = 0.33F * per_bin * std::min(1.0F, 1500.0F / bank.speed_rpm());
    x.fill(swing);
    prior.add_prior(x, 1.0F);
    for (int j = 0; j < size; ++j)
        x[static_cast<std::size_t>(j)] = 2.0F * swing * (static_cast<float>(j) / static_cast<float>(size - 1) - 0.5F);
    prior.add_prior(x, 1.0F);
    prior.add_prior_diagonal(4e-4F);
    // The healthy scatter of the firings around is noise to the one in the middle.
    const float share = 0.01F / static_cast<float>(grid.firings);
    for (int k = 0; k < grid.firings; ++k)
        for (int m = 0; m < grid.firings; ++m)
            for (const int turn : {-grid.bins, 0, grid.bins}) {
                const int shift =
                    grid.tdc_bin[static_cast<std::size_t>(m)] - grid.tdc_bin[static_cast<std::size_t>(k)] + turn;
                if (shift == 0 || shift >= size || shift <= -size) continue;
                const auto& response = bank.response(m);
                x.fill(0);
                const int end = std::min(size, size + shift);
                for (int j = std::max(0, shift); j < end; ++j)
                    x[static_cast<std::size_t>(j)] = response[static_cast<std::size_t>(j - shift)];
                prior.add_prior(x, share);
            }
    prior.end_prior();
}

}  // namespace kurbel
