// Which of the firings that waited for the engine to be known lost their work, judged together.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <utility>

#include "kurbel/stage/first_groups.hpp"
#include "kurbel/stage/pending_firings.hpp"
#include "kurbel/stage/response_bank.hpp"

namespace kurbel {

/// While an engine is known by a few cycles alone, each misfire is also in the pattern and pulls all firings of its cylinder and of
/// those around: looked at one by one, misfires seem small and healthy firings odd. Here the losses are taken in one after the
/// other, the one that explains most first, all that were taken in are fitted together, and the pattern gives way each time
/// (orthogonal matching pursuit: Pati, Rezaiifar and Krishnaprasad, Asilomar 1993, from memory). A cylinder that loses about every second firing
/// shows none that stands out from its own mean: what FirstGroups tells of it is taken in at once. What is left tells how healthy firings
/// scatter, and a loss that is within that scatter is given back.
template <class Real>
class FirstLosses {
  public:
    static constexpr int kCapacity = PendingFirings<Real>::kCapacity;

    /// `leverage`: share of each cycle in the pattern; `suspects`: places whose pattern misses work; `cycle`: bins of an engine cycle;
    /// `first_bin`: that a window can begin at; `learned_from`: where the cycles begin that the pattern was learned from; `whole`: what a lost
    /// combustion reads as, one where the expected work is right; `limit`: healthy deviations beyond which a loss is one, 0 where something else
    /// decides that. Some 16 KiB of stack.
    void find(const PendingFirings<Real>& firings, const ResponseBank& bank, Real leverage,
              const std::array<bool, kMaxCylinders>& suspects, int cycle, std::int64_t first_bin,
              std::int64_t learned_from, Real whole, Real limit) noexcept {
        count_ = firings.count();
        own_ = Real(1) - leverage;
        cycle_ = cycle;
        likely_ = kLikely * whole;
        least_ = kLeast * whole;
        whole_ = whole;
        first_bin_ = first_bin;
        learned_from_ = learned_from;
        chosen_ = 0;
        for (int i = 0; i < count_; ++i) {
            const auto at = static_cast<std::size_t>(i);
            left_[at] = firings[i].amplitude;
            usable_[at] = firings[i].begins();
        }
        groups_.find(firings, own_, likely_, kApart, suspects);
        for (int place = 0; place < kMaxCylinders; ++place)
            if (groups_.least_lost(place) != FirstGroups<Real>::kNone) take_in_group(firings, bank, place);
        take_in(firings, bank);
        if (groups_.reconsider(firings, [this](int i) { return left_[static_cast<std::size_t>(i)]; }))
            take_in(firings, bank);
        give_back(firings, limit);
    }

    /// Gives back the smallest losses, one by one, that healthy firings reach, too: by so many of their deviations. True where there are some.
    bool give_back(const PendingFirings<Real>& firings, Real limit) noexcept {
        const int before = chosen_;
        while (chosen_ > 0) {
            const auto least =
                static_cast<int>(std::min_element(size_.begin(), size_.begin() + chosen_) - size_.begin());
            if (size_[static_cast<std::size_t>(least)] > std::max(least_, limit * deviation_ / std::sqrt(own_))) break;
            give_back_one(firings, least);
            scatter(firings);
        }
        return chosen_ < before;
    }

    /// Whether one of these places burns now and then, and mostly not.
    [[nodiscard]] bool burns_at_times(const std::array<bool, kMaxCylinders>& suspects) const noexcept {
        for (std::size_t place = 0; place < suspects.size(); ++place)
            if (suspects[place] && is_open(static_cast<int>(place))) return true;
        return false;
    }

    /// Number of the firing in the queue and share of its work that it lost, for each of losses().
    [[nodiscard]] int losses() const noexcept { return chosen_; }
    [[nodiscard]] int firing(int loss) const noexcept { return number_[static_cast<std::size_t>(loss)]; }
    [[nodiscard]] Real lost(int loss) const noexcept { return size_[static_cast<std::size_t>(loss)]; }

    [[nodiscard]] bool has_lost(int firing) const noexcept {
        return std::find(number_.begin(), number_.begin() + chosen_, firing) != number_.begin() + chosen_;
    }
    /// Its place's firings fall in two groups, and which of them is healthy is not known.
    [[nodiscard]] bool is_open(int place) const noexcept { return groups_.is_open(place); }

    /// What is left of the amplitude of a firing, the losses taken out.
    [[nodiscard]] Real left(int firing) const noexcept { return left_[static_cast<std::size_t>(firing)]; }

    /// Scatter of the others, and how many they are.
    [[nodiscard]] Real deviation() const noexcept { return deviation_; }
    [[nodiscard]] int others() const noexcept { return others_; }

  private:
    static constexpr int kMost = kCapacity / 2;
    static constexpr Real kApart = Real(3);     // healthy deviations between groups
    static constexpr Real kLikely = Real(0.5);  // share of a whole loss that one seems to have at first
    static constexpr Real kLeast = Real(0.4);   // nearer to "all lost" than to "nothing lost", with room for scatter
    template <class T, int Size>
    using List = std::array<T, static_cast<std::size_t>(Size)>;
    static constexpr float kSingular = 1e-3F;
    static constexpr Real kMeasured = Real(0.15);    // error of one firing measured alone
    static constexpr Real kWholeSpread = Real(0.3);  // of losses around the whole work
    static constexpr Real kMostLost = Real(1.7);     // of a whole loss: expected work is told wrongly by a half at most
    static constexpr Real kMedian = Real(0.6745);    // of the absolute value of a standard normal variable

    void take_in_group(const PendingFirings<Real>& firings, const ResponseBank& bank, int place) noexcept {
        const Real least = groups_.least_lost(place);
        for (int i = 0; i < count_ && chosen_ < count_ / 2; ++i) {
            if (!firings[i].begins() || firings[i].place != place) continue;
            usable_[static_cast<std::size_t>(i)] = firings[i].amplitude < least;
            if (firings[i].amplitude >= least) take_in_one(firings, bank, i);
        }
        fit(firings);
    }

    void take_in_one(const PendingFirings<Real>& firings, const ResponseBank& bank, int next) noexcept {
        number_[static_cast<std::size_t>(chosen_)] = next;
        usable_[static_cast<std::size_t>(next)] = false;
        for (int i = 0; i < count_; ++i) pull_(i, chosen_) = static_cast<float>(pull(firings, bank, i, next));
        ++chosen_;
    }

    void take_in(const PendingFirings<Real>& firings, const ResponseBank& bank) noexcept {
        const int most = 2 * count_ / 5;  // beyond, what is lost would be what is usual
        while (chosen_ < most) {
            const int next = strongest(firings, bank);
            if (next < 0) break;
            take_in_one(firings, bank, next);
            fit(firings);
            if (lose_too_much()) {
                // Who would have to lose more than there is explains others that lose nothing.
                give_back_one(firings, chosen_ - 1);
                break;
            }
        }
        scatter(firings);
    }

    [[nodiscard]] int strongest(const PendingFirings<Real>& firings, const ResponseBank& bank) const noexcept {
        int best = -1;
        Real most = 0;
        for (int i = 0; i < count_; ++i) {
            const auto at = static_cast<std::size_t>(i);
            const Real size = left_[at] / own_;
            if (!usable_[at] || is_open(firings[i].place) || size < likely_) continue;
            const Real gain = size * left_[at] * static_cast<Real>(bank.precision(firings[i].place));
            if (gain <= most || is_one_too_many(firings, i)) continue;
            most = gain;
            best = i;
        }
        return best;
    }

    /// Whether with this one clearly more firings of its place would have lost their work than not. Losses are told against the others: with each
    /// that is taken in these seem to have lost more, and at last one stands for health that did a little more by chance. A cylinder that really
    /// loses most falls in two groups.
    [[nodiscard]] bool is_one_too_many(const PendingFirings<Real>& firings, int i) const noexcept {
        int more = 0;
        for (int other = 0; other < count_; ++other)
            if (firings[other].usable() && firings[other].place == firings[i].place)
                more += usable_[static_cast<std::size_t>(other)] && other != i ? -1 : 1;
        return more > 1;
    }

    /// What a whole loss at `from` adds to the amplitude of firing i: by the bins that they share, by the trend that is taken from the
    /// cycle before, and by the pattern.
    [[nodiscard]] Real pull(const PendingFirings<Real>& firings, const ResponseBank& bank, int i,
                            int from) const noexcept {
        const auto& here = firings[i];
        const auto& there = firings[from];
        if (!here.usable()) return Real(0);
        const auto shift = static_cast<int>(there.bin - here.bin);
        const auto leak = [&](int by) {
            return by >= bank.size() || by <= -bank.length()
                       ? Real(0)
                       : static_cast<Real>(bank.leak(here.place, there.place, by));
        };
        const auto level = static_cast<Real>(bank.level(here.place)) / Real(cycle_);
        const bool has_trend = here.bin - first_bin_ >= cycle_;
        const Real trend = has_trend ? sum(bank, there.place, -shift - cycle_, -shift) : Real(0);
        const Real ratio = there.expected / here.expected;
        // What happened before the learned cycles is not in the pattern.
        if (there.bin < learned_from_) return (leak(shift) - level * trend) * ratio;
        Real pattern = 0;
        int by = shift % cycle_;
        while (by > -bank.length()) by -= cycle_;
        for (; by < bank.size(); by += cycle_) pattern += leak(by);
        const Real in_pattern = pattern - level * sum(bank, there.place, 0, bank.length());
        return (leak(shift) - level * trend - (Real(1) - own_) * in_pattern) * ratio;
    }

    /// Of the response of a place, from its bin `from` to bin `to`.
    [[nodiscard]] static Real sum(const ResponseBank& bank, int place, int from, int to) noexcept {
        Real total = 0;
        for (int j = std::max(from, 0); j < std::min(to, bank.length()); ++j)
            total += static_cast<Real>(bank.response(place)[static_cast<std::size_t>(j)]);
        return total;
    }

    /// All sizes together: least squares, drawn towards the usual loss.
    void fit(const PendingFirings<Real>& firings) noexcept {
        // Whole losses are the usual ones; where the work is a guess, they are drawn less.
        const Real prior = whole_ * kMeasured * kMeasured / (kWholeSpread * kWholeSpread);
        for (int a = 0; a < chosen_; ++a) {
            const int i = number_[static_cast<std::size_t>(a)];
            right_(a) = static_cast<float>(firings[i].amplitude + prior * whole_);
            for (int b = 0; b < chosen_; ++b) left_side_(a, b) = pull_(i, b);
            left_side_(a, a) += static_cast<float>(prior);
        }
        solve();
        for (int a = 0; a < chosen_; ++a) size_[static_cast<std::size_t>(a)] = static_cast<Real>(right_(a));
        for (int i = 0; i < count_; ++i) {
            Real left = firings[i].amplitude;
            for (int a = 0; a < chosen_; ++a) left -= static_cast<Real>(pull_(i, a) * right_(a));
            left_[static_cast<std::size_t>(i)] = left;
        }
    }

    /// Gaussian elimination with pivots by column; Eigen's own would ask the heap. The solution takes the place of the right side.
    void solve() noexcept {
        for (int c = 0; c < chosen_; ++c) {
            int pivot = c;
            for (int r = c + 1; r < chosen_; ++r)
                if (std::fabs(left_side_(r, c)) > std::fabs(left_side_(pivot, c))) pivot = r;
            if (pivot != c) {
                for (int k = c; k < chosen_; ++k) std::swap(left_side_(c, k), left_side_(pivot, k));
                std::swap(right_(c), right_(pivot));
            }
            if (std::fabs(left_side_(c, c)) < kSingular) left_side_(c, c) = kSingular;
            for (int r = c + 1; r < chosen_; ++r) {
                const float factor = left_side_(r, c) / left_side_(c, c);
                for (int k = c; k < chosen_; ++k) left_side_(r, k) -= factor * left_side_(c, k);
                right_(r) -= factor * right_(c);
            }
        }
        for (int r = chosen_ - 1; r >= 0; --r) {
            for (int k = r + 1; k < chosen_; ++k) right_(r) -= left_side_(r, k) * right_(k);
            right_(r) /= left_side_(r, r);
        }
    }

    /// Whether some loss is clearly more than a whole one.
    [[nodiscard]] bool lose_too_much() const noexcept {
        return std::any_of(size_.begin(), size_.begin() + chosen_,
                           [this](Real size) { return size > kMostLost * whole_; });
    }

    /// Takes a loss out of the list.
    void give_back_one(const PendingFirings<Real>& firings, int loss) noexcept {
        usable_[static_cast<std::size_t>(number_[static_cast<std::size_t>(loss)])] = true;
        --chosen_;
        number_[static_cast<std::size_t>(loss)] = number_[static_cast<std::size_t>(chosen_)];
        pull_.col(loss) = pull_.col(chosen_);
        fit(firings);
    }

    void scatter(const PendingFirings<Real>& firings) noexcept {
        List<Real, kCapacity> off{};
        others_ = 0;
        for (int i = 0; i < count_; ++i) {
            const auto at = static_cast<std::size_t>(i);
            if (usable_[at] && !is_open(firings[i].place))
                off[static_cast<std::size_t>(others_++)] = std::fabs(left_[at]) / std::sqrt(own_);
        }
        const auto middle = off.begin() + others_ / 2;
        std::nth_element(off.begin(), middle, off.begin() + others_);
        deviation_ = others_ > 0 ? *middle / kMedian : Real(0);
    }

    int cycle_ = 1;
    std::int64_t first_bin_ = 0;
    std::int64_t learned_from_ = 0;
    int count_ = 0;
    int chosen_ = 0;
    int others_ = 0;
    Real deviation_ = 0;
    Real likely_ = kLikely;
    Real least_ = kLeast;
    Real whole_ = 1;  // loss that sizes are drawn towards
    Real own_ = 1;    // share of a firing's own loss that it shows
    FirstGroups<Real> groups_{};
    List<Real, kCapacity> left_{};  // of each amplitude, the losses taken out
    List<bool, kCapacity> usable_{};
    List<int, kMost> number_{};
    List<Real, kMost> size_{};
    Eigen::Matrix<float, kMost, kMost> left_side_ = Eigen::Matrix<float, kMost, kMost>::Zero();
    Eigen::Matrix<float, kMost, 1> right_ = Eigen::Matrix<float, kMost, 1>::Zero();
    Eigen::Matrix<float, kCapacity, kMost> pull_ = Eigen::Matrix<float, kCapacity, kMost>::Zero();
};

}  // namespace kurbel
