// Kinetic energy in angle bins around each true firing: what the baselines and the trained observer look at.
#pragma once

#include <cstddef>
#include <vector>

#include "firings.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/segmenter.hpp"

namespace kurbel_detection {

struct Bins {
    kurbel::CycleGrid grid{};
    std::vector<kurbel::Bin<double>> bins;
    std::vector<std::ptrdiff_t>
        first_of;  ///< of each true firing: place in `bins` of the bin that begins at its TDC, or -1

    /// Whether the bins from `from` to before `to`, counted from the firing's first, are all there and connected.
    [[nodiscard]] bool whole(std::size_t firing, std::ptrdiff_t from, std::ptrdiff_t to) const noexcept {
        const std::ptrdiff_t first = first_of[firing];
        if (first < 0 || first + from < 0 || first + to > static_cast<std::ptrdiff_t>(bins.size())) return false;
        return bins[static_cast<std::size_t>(first + to - 1)].index -
                       bins[static_cast<std::size_t>(first + from)].index ==
                   to - from - 1 &&
               (first + from == first + to - 1 || connected(first + from + 1, first + to));
    }

    /// Energy of the bin `offset` bins after the firing's TDC, rad^2/s^2.
    [[nodiscard]] double energy(std::size_t firing, std::ptrdiff_t offset) const noexcept {
        return bins[static_cast<std::size_t>(first_of[firing] + offset)].energy;
    }

  private:
    [[nodiscard]] bool connected(std::ptrdiff_t from, std::ptrdiff_t to) const noexcept {
        for (std::ptrdiff_t i = from; i < to; ++i)
            if (bins[static_cast<std::size_t>(i)].restart) return false;
        return true;
    }
};

/// Cuts the recording into the detector's own bins (at most 24 degrees where the wheel allows) by its decoder and segmenter, and finds
/// each true firing's by time.
[[nodiscard]] Bins bins_of(const Recording& recording);

}  // namespace kurbel_detection
