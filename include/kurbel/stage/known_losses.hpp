// Firings without fuel: their work is lost for certain, but how much that is, is known by the load alone.
#pragma once

#include <algorithm>
#include <cstdint>

#include "kurbel/stage/learned_engine.hpp"

namespace kurbel {

/// What firings without fuel around the one at `bin` of this place have added to its amplitude, per share by which their work is not
/// what was expected: by the bins that they share, and by the trend that is taken from the cycle before the window.
template <class Real>
[[nodiscard]] Real pull_of_known_losses(const LearnedEngine<Real>& engine, const CycleGrid& grid, std::int64_t bin,
                                        int place) noexcept {
    const ResponseBank& bank = engine.bank;
    const Real level = static_cast<Real>(bank.level(place)) / Real(grid.bins);
    const std::int64_t oldest = std::max(bin - bank.length() - grid.bins, engine.residuals.bins().oldest_connected());
    Real pull = 0;
    for (std::int64_t other = oldest; other < bin + bank.size(); ++other) {
        const int k = engine.residuals.firing_at(other);
        if (k < 0 || other == bin || !engine.lost_for_certain(other, k)) continue;
        const auto shift = static_cast<int>(other - bin);
        Real one = shift > -bank.length() ? static_cast<Real>(bank.leak(place, k, shift)) : Real(0);
        // Both windows begin as many bins before their TDC.
        for (int j = std::max(-shift - grid.bins, 0); j < std::min(-shift, bank.length()); ++j)
            one -= level * static_cast<Real>(bank.response(k)[static_cast<std::size_t>(j)]);
        pull += one * engine.expected_work(other);
    }
    return pull / engine.expected_work(bin);
}

}  // namespace kurbel
