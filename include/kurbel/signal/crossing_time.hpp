// When a slope crosses the middle: found on the samples around it, or between them where they are few.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "kurbel/signal/band_limited.hpp"
#include "kurbel/signal/level.hpp"
#include "kurbel/signal/slope_fit.hpp"

namespace kurbel::signal {

/// A crossing in samples of its level, counted from the crossing's own one, and the slope around it.
template <class Real>
struct CrossingTime {
    SlopeFit<Real> fit{};
    Real after = 0;          ///< the extreme behind it, as far as that was seen
    Real slope_samples = 0;  ///< between the half heights
    bool fine = false;       ///< found between the samples
};

/// Times crossings by a cubic through all samples of their slope (slope_fit.hpp), so that the bandwidth of the noise follows the slope's length.
/// Where a slope spans fewer samples than the fit needs, values between the samples come from band-limited interpolation.
template <class Real>
class CrossingTimer {
  public:
    static constexpr int kReach = 40;             ///< samples on either side of a crossing that a fit may look at
    static constexpr int kFineReach = 8;          ///< the same between samples
    static constexpr Real kFewSamples = Real(3);  ///< a slope shorter than this needs values between the samples

    void configure() noexcept { between_.configure(); }

    /// Samples behind a crossing of this level to wait for.
    [[nodiscard]] static std::int64_t samples_behind(const Level<Real>& level) noexcept {
        const auto window = static_cast<std::int64_t>(Real(2.5) * level.slope()) + 2;
        return std::clamp<std::int64_t>(window, BandLimited<Real>::kHalf + kFineReach + 1, kReach);
    }
    /// Whether the stream ended too soon: waves of few samples cannot be followed between them where those behind are missing; the last edges
    /// would stand off by a tenth of a sample.
    [[nodiscard]] static bool ends_too_soon(const Level<Real>& level, const Crossing<Real>& crossing) noexcept {
        return level.interval() < 2 * kFewSamples && level.count() <= crossing.index + BandLimited<Real>::kHalf;
    }

    /// The time of a crossing where samples up to `last_sample` may be looked at; without a fit that may be trusted fit.ok is false and
    /// fit.place lies between the two samples beside the crossing.
    [[nodiscard]] CrossingTime<Real> time(const Level<Real>& level, const Crossing<Real>& crossing,
                                          std::int64_t last_sample) const noexcept {
        CrossingTime<Real> found;
        found.after = crossing.middle;
        found.slope_samples = level.slope();
        Real guess = 0;
        for (int attempt = 0; attempt < 2 && !found.fit.ok; ++attempt) {
            found.fine = attempt == 1 || found.slope_samples < kFewSamples || level.interval() < 6 * kFewSamples;
            const Grid grid = samples_around(level, crossing, last_sample, found.fine);
            const int at = crossing_on(grid);
            if (at <= 0 || at >= grid.count) continue;
            guess = between_samples(grid, at);
            measure_slope(grid, at, crossing, found);
            Real half_width = std::max(kWindow * found.slope_samples, Real(0.75));
            // A window that ends on one side alone would pull the crossing there.
            half_width = std::min(half_width, static_cast<Real>((found.fine ? kFineReach : kReach) - 1));
            if (!found.fine && half_width < Real(3)) continue;
            found.fit =
                fit_slope(grid.value.data(), grid.count, grid.first, grid.spacing, guess, half_width, crossing.middle);
            if (found.fine) break;
        }
        // A crossing lies on its own slope. Where one is hardly there, of a faint tooth beside the gap, a fit that follows the neighbour's
        // would stand beyond the next crossing, and that one would be lost.
        SlopeFit<Real>& fit = found.fit;
        if (!fit.ok || !(std::fabs(fit.place - guess) < std::max(found.slope_samples, level.slope()))) {
            fit.ok = false;
            fit.place = guess;
            fit.slope = 0;
        }
        return found;
    }

  private:
    static constexpr int kGrid = 129;
    static constexpr Real kWindow = Real(2.2);  ///< half width of the fit over the distance between half heights

    /// Values around a crossing, and how they lie: `value[i]` at first + i * spacing.
    struct Grid {
        std::array<Real, kGrid> value;
        int count = 0;
        int origin = 0;  ///< that of the crossing's own sample
        Real first = 0;
        Real spacing = 1;
        Real middle = 0;
        Real sign = 1;

        /// Above the middle behind the crossing, below it before.
        [[nodiscard]] Real height(int i) const noexcept { return sign * (value[static_cast<std::size_t>(i)] - middle); }
    };

    [[nodiscard]] Grid samples_around(const Level<Real>& level, const Crossing<Real>& crossing,
                                      std::int64_t last_sample, bool fine) const noexcept {
        const auto sample = [&](std::int64_t index) { return level.sample(index); };
        const int steps = fine ? BandLimited<Real>::kSteps : 1;
        const auto ahead = static_cast<int>(last_sample - crossing.index);
        const int from = fine ? -kFineReach : -kReach;
        const int to = fine ? std::min(ahead, kFineReach - 1) : ahead;
        Grid grid;
        for (int i = from; i <= to; ++i)
            for (int step = 0; step < steps && grid.count < kGrid; ++step)
                grid.value[static_cast<std::size_t>(grid.count++)] =
                    fine ? between_.at(crossing.index + i, step, sample) : level.sample(crossing.index + i);
        grid.origin = -from * steps;
        grid.first = static_cast<Real>(from);
        grid.spacing = Real(1) / static_cast<Real>(steps);
        grid.middle = crossing.middle;
        grid.sign = crossing.rising ? Real(1) : Real(-1);
        return grid;
    }

    /// First place behind the crossing nearest to the recorded one.
    [[nodiscard]] static int crossing_on(const Grid& grid) noexcept {
        int at = grid.origin;
        while (at < grid.count - 1 && grid.height(at) < 0) ++at;
        while (at > 0 && grid.height(at - 1) >= 0) --at;
        return at;
    }

    /// On the line from the place before the crossing to the one behind it.
    [[nodiscard]] static Real between_samples(const Grid& grid, int at) noexcept {
        const Real rise = grid.height(at) - grid.height(at - 1);
        return grid.first +
               grid.spacing * (static_cast<Real>(at) -
                               (rise > 0 ? std::clamp(grid.height(at) / rise, Real(0), Real(1)) : Real(0)));
    }

    /// Half heights on either side, of the lower of the two half-waves, and how far apart they lie.
    static void measure_slope(const Grid& grid, int at, const Crossing<Real>& crossing,
                              CrossingTime<Real>& found) noexcept {
        Real top = 0;
        int peak = at;
        for (int i = at; i < grid.count; ++i) {
            if (grid.height(i) > top) {
                top = grid.height(i);
                peak = i;
            } else if (grid.height(i) < Real(0.5) * top) {
                break;
            }
        }
        found.after = crossing.middle + grid.sign * top;
        const Real half = Real(0.5) * std::min(top, std::fabs(crossing.before - crossing.middle));
        int right = at;
        while (right < peak && grid.height(right) < half) ++right;
        int left = at - 1;
        while (left > 0 && grid.height(left) > -half) --left;
        const auto between = [&](int low, Real target) {
            const Real step_height = grid.height(low + 1) - grid.height(low);
            return static_cast<Real>(low) + (step_height > 0 ? (target - grid.height(low)) / step_height : Real(0.5));
        };
        if (grid.height(left) <= -half && grid.height(right) >= half && right > left + 1)
            found.slope_samples = grid.spacing * (between(right - 1, half) - between(left, -half));
    }

    BandLimited<Real> between_{};
};

}  // namespace kurbel::signal
