// Tells a cylinder that works in two ways, firing and not, from one that scatters.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/core/config.hpp"

namespace kurbel {

/// Histograms of the lost share of the last firings, one per place in the firing order, and whether one falls into two heaps. A
/// cylinder that misfires in many cycles from the start on is half in the pattern: neither heap lies at zero, and the lower
/// one is the healthy level. The cut between the heaps is the one of largest variance between them (Otsu, IEEE Trans. Syst.
/// Man Cybern. 9:62-66, 1979).
class TwoLevels {
  public:
    /// What the firings of a place look like.
    struct Heaps {
        bool two = false;
        float level = 0;  ///< mean lost share of the lower heap, where there are two
    };

    void begin() noexcept {
        for (auto& bins : count_) bins.fill(0);
    }

    /// One firing; the older ones fade once there are many.
    void add(int place, float lost) noexcept {
        auto& bins = count_[static_cast<std::size_t>(place)];
        // Held to the histogram before it becomes an integer: a share beyond every integer, or none at all, is undefined as one.
        const float from_first = (lost - kFirst) / kWidth;
        const float bin = from_first > 0.0F ? std::min(from_first, static_cast<float>(kBins - 1)) : 0.0F;
        auto& count = bins[static_cast<std::size_t>(bin)];
        if (count == UINT8_MAX)
            for (auto& value : bins) value = static_cast<std::uint8_t>(value / 2);
        ++count;
    }

    /// Begins a place anew, after its level was moved.
    void forget(int place) noexcept { count_[static_cast<std::size_t>(place)].fill(0); }

    /// Whether the level of a lower heap could be `level` or less: mostly not, and sooner told than by heaps().
    [[nodiscard]] bool may_lie_below(int place, float level) const noexcept {
        const auto& bins = count_[static_cast<std::size_t>(place)];
        const float at = (level - kFirst) / kWidth - 0.5F;  // in bins
        const int end = std::clamp(static_cast<int>(at + 1.01F), 0, kBins - 1);
        int moment = 0;
        for (int i = 0; i < end; ++i) moment += (end - i) * bins[static_cast<std::size_t>(i)];
        // So many firings at most have that mean: those up to `level`, and others in the next bin that balance them.
        const float most = static_cast<float>(moment) / (static_cast<float>(end) - at);
        if (most < kSmallest) return false;
        int all = 0;
        for (const std::uint8_t n : bins) all += n;
        return most >= fewest_below(static_cast<float>(all));
    }

    /// `scatter`: standard deviation of healthy firings, as other places have it.
    [[nodiscard]] Heaps heaps(int place, float scatter) const noexcept {
        const auto& bins = count_[static_cast<std::size_t>(place)];
        const Sums all = sums(bins, 0, kBins);
        if (all.count < kFewest) return {};
        Sums lower{};
        Sums best{};
        float largest = 0;
        for (int cut = 1; cut < kBins; ++cut) {
            lower += sums(bins, cut - 1, cut);
            const float above = all.count - lower.count;
            if (lower.count <= 0.0F || above <= 0.0F) continue;
            const float step = (all.sum - lower.sum) / above - lower.sum / lower.count;
            const float between = lower.count * above * step * step;
            if (between <= largest) continue;
            largest = between;
            best = lower;
        }
        return judge(best, all, scatter);
    }

  private:
    static constexpr int kBins = 32;
    static constexpr float kFirst = -1.6F;
    static constexpr float kWidth = 0.1F;
    static constexpr float kFewest = 8;      // firings
    static constexpr float kSmallest = 3;    // firings in a heap
    static constexpr float kShare = 0.12F;   // that of the healthy ones: more than half may be lost
    static constexpr float kApart = 0.55F;   // more than half of the work lies between them
    static constexpr float kClear = 4.5F;    // and so many deviations of healthy firings
    static constexpr float kNarrow = 0.22F;  // deviation within, of their distance: one normal heap cut in two has 0.38

    struct Sums {
        float count = 0;
        float sum = 0;
        float square = 0;
        Sums& operator+=(const Sums& more) noexcept {
            count += more.count;
            sum += more.sum;
            square += more.square;
            return *this;
        }
    };

    [[nodiscard]] static Sums sums(const std::array<std::uint8_t, kBins>& bins, int from, int to) noexcept {
        Sums total;
        for (int i = from; i < to; ++i) {
            const auto n = static_cast<float>(bins[static_cast<std::size_t>(i)]);
            const float at = kFirst + (static_cast<float>(i) + 0.5F) * kWidth;
            total += {n, n * at, n * at * at};
        }
        return total;
    }

    /// Firings that make a lower heap, of `all`.
    [[nodiscard]] static float fewest_below(float all) noexcept { return std::max(kSmallest, kShare * all); }

    [[nodiscard]] static Heaps judge(const Sums& lower, const Sums& all, float scatter) noexcept {
        const float above = all.count - lower.count;
        if (lower.count < fewest_below(all.count) || above < kSmallest) return {};
        const float low = lower.sum / lower.count;
        const float high = (all.sum - lower.sum) / above;
        const float within = (all.square - lower.count * low * low - above * high * high) / all.count;
        const float deviation = std::sqrt(std::max(within, 0.0F));
        if (high - low < std::max(kApart, kClear * scatter) || deviation > kNarrow * (high - low)) return {};
        return {true, low};
    }

    std::array<std::array<std::uint8_t, kBins>, kMaxCylinders> count_{};
};

}  // namespace kurbel
