// How a change of the crank's motion shows through teeth that stand far apart.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cycle_grid.hpp"

namespace kurbel {

/// The Segmenter places a boundary between two teeth by linear interpolation: between them the crank seems to turn evenly, whatever it does. In a
/// healthy cycle what that bends is part of the pattern. Of a lost combustion it takes a share from one bin and gives it to the next; on a
/// wheel of twelve teeth, two bins of a gap share what only one of them lost. Seen so, a response is what the bins really show.
class WheelView {
  public:
    /// `first_bin`: where responses begin, in bins after TDC.
    void begin(const WheelConfig& wheel, const CycleGrid& grid, int first_bin) noexcept {
        bins_per_rev_ = static_cast<std::int8_t>(std::lround(360.0 / grid.bin_deg));
        for (int k = 0; k < grid.firings; ++k) {
            const int bin = grid.tdc_bin[static_cast<std::size_t>(k)] + first_bin + grid.bins;
            first_[static_cast<std::size_t>(k)] = static_cast<std::int8_t>(bin % bins_per_rev_);
        }
        for (int n = 0; n < bins_per_rev_; ++n) {
            double before = 360.0;
            double after = 360.0;
            for (int i = 0; i < wheel.teeth; ++i) {
                const auto tooth_deg = static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(i)]);
                const double off_deg = wheel.tdc1_deg + n * grid.bin_deg - tooth_deg;
                const double turned_deg = off_deg - 360.0 * std::floor(off_deg / 360.0);
                before = std::fmin(before, turned_deg);
                after = std::fmin(after, 360.0 - turned_deg);
            }
            // Between teeth closer than a bin less is bent than is lost by taking a bin's energy for the same throughout.
            if (before + after < grid.bin_deg - 1e-3) before = after = 0.0;
            before_[static_cast<std::size_t>(n)] = in_steps(before / grid.bin_deg);
            after_[static_cast<std::size_t>(n)] = in_steps(after / grid.bin_deg);
        }
    }

    /// What is seen of the first `length` of a place's differences of bin energy takes their place.
    template <std::size_t kMost>
    void look(int place, std::array<float, kMost>& response, int length) const noexcept {
        // Energy of each bin, the one before the first difference being zero, and its integral over the angle up to each boundary.
        std::array<float, kMost + 1> energy{};
        std::array<float, kMost + 2> integral{};
        for (int b = 0; b < length; ++b) {
            const auto at = static_cast<std::size_t>(b);
            energy[at + 1] = energy[at] + response[at];
            integral[at + 1] = integral[at] + energy[at];
        }
        const auto last = static_cast<std::size_t>(length);
        integral[last + 1] = integral[last] + energy[last];
        const auto up_to = [&](float bins) {
            const int whole = std::clamp(static_cast<int>(std::floor(bins)), 0, length);
            const auto at = static_cast<std::size_t>(whole);
            return bins > 0.0F ? integral[at] + (bins - static_cast<float>(whole)) * energy[at] : 0.0F;
        };
        int n = first_[static_cast<std::size_t>(place)];
        float begin = 0.0F;
        float previous = 0.0F;
        for (int b = 0; b <= length + 1; ++b) {
            const auto at = static_cast<std::size_t>(n);
            const float before = static_cast<float>(before_[at]) * kStep;
            const float after = static_cast<float>(after_[at]) * kStep;
            const float here = static_cast<float>(b);
            const float from = up_to(here - before);
            const float share = before + after > 0.0F ? before / (before + after) : 0.0F;
            const float end = from + share * (up_to(here + after) - from);
            if (b > 1) response[static_cast<std::size_t>(b - 2)] = end - begin - previous;
            previous = b > 0 ? end - begin : 0.0F;
            begin = end;
            n = n + 1 < bins_per_rev_ ? n + 1 : 0;
        }
    }

  private:
    static constexpr float kStep = 0.02F;  // bins

    [[nodiscard]] static std::uint8_t in_steps(double bins) noexcept {
        return static_cast<std::uint8_t>(std::fmin(std::round(bins / static_cast<double>(kStep)), 255.0));
    }

    // From each boundary of a revolution's bins to the teeth before and behind it.
    std::array<std::uint8_t, kMaxBins / 2> before_{};
    std::array<std::uint8_t, kMaxBins / 2> after_{};
    std::array<std::int8_t, kMaxCylinders> first_{};  // boundary at which a place's responses begin
    std::int8_t bins_per_rev_ = 1;
};

}  // namespace kurbel
