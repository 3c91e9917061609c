// Which cylinders have begun to fail together: those that share what feeds or fires them.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/failing_state.hpp"

namespace kurbel {

/// Sets of places of the firing order that one fault may take, each of which works or fails as a whole, see FailingState. Of a bank every other
/// firing loses its work: the trend has half of each loss within a cycle, and by the time one of its cylinders has fired three times none
/// stands out any more. Together they are known by the third that fails.
///
/// Two a revolution apart share an ignition coil, a bank its fuel rail or its module. Banks of evenly firing engines take turns, but for those
/// of an eight with its throws in two planes, which fire left, right, left, left, right, left, right, right (common practice, no source); where
/// in that row the firing order begins nobody need tell.
template <class Real>
class FailingSets {
  public:
    void begin(int firings) noexcept {
        failing_.fill(0.0F);
        level_ = 0.0F;
        firings_ = firings;
    }

    /// Probability that a set fails to which this place belongs, if no more than one does: sets that share members seem to fail together until
    /// one of those fires that they do not share.
    [[nodiscard]] Real failing(int place) const noexcept {
        Real all = 1;
        Real of_place = 0;
        for (int s = 0; s < count(); ++s) {
            const auto fails = static_cast<Real>(failing_[static_cast<std::size_t>(s)]);
            const Real odds = fails / std::max(Real(1) - fails, kLeastDoubt);
            all += odds;
            of_place += has(s, place) ? odds : Real(0);
        }
        return of_place / all;
    }

    /// One more firing, which lost this `share` of what a whole loss reads as; `ratio`: see FailingCylinders; `usual`: the rate of misfires of this
    /// cylinder as long as no set of its fails.
    void follow(int place, Real share, Real ratio, Real usual) noexcept {
        const Real told = std::min(ratio, std::max(lost_beside_others(share), Real(1)));
        for (int s = 0; s < count(); ++s)
            if (has(s, place)) FailingState<Real>::follow(failing_[static_cast<std::size_t>(s)], told, usual, kAllFail);
    }

    /// How much firings that seem to have done their work read, the last ones first: `probability` that this one did.
    void follow_others(Real share, Real probability) noexcept {
        level_ += static_cast<float>(probability * (share - static_cast<Real>(level_)) / kOthers);
    }

  private:
    static constexpr int kEight = 8;
    static constexpr int kMost = std::max(kMaxCylinders / 2 + 2, kEight / 2 + 2 + kEight);
    // Who fires tells more against his set than who misfires tells for it: who fails alone is no set.
    static constexpr Real kAllFail = Real(0.999);
    // What the pattern of a set is off by, share of a loss: it is the same in all of its firings, so that each has to read as more than half.
    static constexpr Real kOff = Real(0.25);
    static constexpr Real kOthers = Real(3);  // firings
    static constexpr Real kLeastDoubt = Real(1e-6);

    [[nodiscard]] int pairs() const noexcept { return firings_ >= 4 && firings_ % 2 == 0 ? firings_ / 2 : 0; }
    [[nodiscard]] int count() const noexcept {
        return pairs() + (pairs() > 2 ? 2 : 0) + (firings_ == kEight ? kEight : 0);
    }
    [[nodiscard]] bool has(int set, int place) const noexcept {
        if (set < pairs()) return place % pairs() == set;
        const int bank = set - pairs();
        if (bank < 2) return place % 2 == bank;
        constexpr unsigned kSecondBank = 0b11010010;  // bit n: the n-th to fire
        return ((kSecondBank >> ((place + bank) % kEight)) & 1U) != 0;
    }

    /// Likelihood ratio of a work lost over none by how far a firing reads from those that did their work: what pushes the crank, or what the
    /// trend is late by, is in all of them.
    [[nodiscard]] Real lost_beside_others(Real share) const noexcept {
        return std::exp((share - static_cast<Real>(level_) - Real(0.5)) / (kOff * kOff));
    }

    int firings_ = 0;
    float level_ = 0;  // mean share of the last firings that seem to have done their work
    std::array<float, kMost> failing_{};
};

}  // namespace kurbel
