// Which cylinders have begun to fail together: those that share what feeds or fires them.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/bank_row.hpp"
#include "kurbel/stage/failing_state.hpp"

namespace kurbel {

/// Sets of places of the firing order that one fault may take, each of which works or fails as a whole, see FailingState. Of a bank every other
/// firing loses its work: the trend has half of each loss within a cycle, and by the time one of its cylinders has fired three times none
/// stands out any more. Together they are known by the third that fails.
///
/// Two a revolution apart share an ignition coil, a bank (see BankRow) its fuel rail or its module (common practice, no source).
template <class Real>
class FailingSets {
  public:
    void begin() noexcept {
        odds_.fill(0.0F);
        all_ = 0.0F;
        level_ = 0.0F;
    }

    /// Probability that a set of an engine of so many `firings` fails to which this place belongs, if no more than one does: sets that share members
    /// seem to fail together until one of those fires that they do not share.
    [[nodiscard]] Real failing(int place, int firings) const noexcept {
        if (all_ < kNothing) return Real(0);
        float of_place = 0.0F;
        const Sets sets(firings);
        for (int s = 0; s < sets.count(); ++s)
            if (sets.has(s, place)) of_place += odds_[static_cast<std::size_t>(s)];
        return static_cast<Real>(of_place) / static_cast<Real>(1.0F + all_);
    }

    /// One more firing, which lost this `share` of what a whole loss reads as; `ratio`: see FailingCylinders; `usual`: the rate of misfires of this
    /// cylinder as long as no set of its fails.
    void follow(int place, int firings, Real share, Real ratio, Real usual) noexcept {
        if (ratio > Real(1)) ratio = std::min(ratio, std::max(lost_beside_others(share), Real(1)));
        const Real told = FailingState<Real>::told(ratio, usual, kAllFail);
        const Sets sets(firings);
        all_ = 0.0F;
        for (int s = 0; s < sets.count(); ++s) {
            float& odds = odds_[static_cast<std::size_t>(s)];
            if (sets.has(s, place)) odds = FailingState<Real>::after(odds, told);
            all_ += odds;
        }
    }

    /// How much firings that seem to have done their work read, the last ones first: `probability` that this one did.
    void follow_others(Real share, Real probability) noexcept {
        level_ += static_cast<float>(probability * (share - static_cast<Real>(level_)) / kOthers);
    }

  private:
    /// The sets of an engine, by number.
    class Sets {
      public:
        static constexpr int kMost = std::max(kMaxCylinders / 2 + 2, BankRow::kFirings / 2 + 2 + BankRow::kRows);

        explicit constexpr Sets(int firings) noexcept
            : pairs_(firings >= 4 && firings % 2 == 0 ? firings / 2 : 0),
              count_(pairs_ + (pairs_ > 2 ? 2 : 0) + (firings == BankRow::kFirings ? BankRow::kRows : 0)) {}
        [[nodiscard]] constexpr int count() const noexcept { return count_; }
        [[nodiscard]] constexpr bool has(int set, int place) const noexcept {
            if (set < pairs_) return place == set || place == set + pairs_;
            const int bank = set - pairs_;
            return bank < 2 ? place % 2 == bank : BankRow::second(bank - 2, place);
        }

      private:
        int pairs_;
        int count_;
    };

    // Who fires tells more against his set than who misfires tells for it: who fails alone is no set.
    static constexpr Real kAllFail = Real(0.999);
    // What the pattern of a set is off by, share of a loss: it is the same in all of its firings, so that each has to read as more than half.
    static constexpr Real kOff = Real(0.25);
    static constexpr Real kOthers = Real(3);  // firings
    static constexpr float kNothing = 1e-3F;  // odds of any set, up to which none is suspected

    /// Likelihood ratio of a work lost over none by how far a firing reads from those that did their work: what pushes the crank, or what the
    /// trend is late by, is in all of them.
    [[nodiscard]] Real lost_beside_others(Real share) const noexcept {
        return std::exp((share - static_cast<Real>(level_) - Real(0.5)) / (kOff * kOff));
    }

    float level_ = 0;  // mean share of the last firings that seem to have done their work
    float all_ = 0;    // odds of any set
    std::array<float, Sets::kMost> odds_{};
};

}  // namespace kurbel
