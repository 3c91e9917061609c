// How a lost combustion shows, and how much work it is, as the firings that waited tell together.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>

#include "kurbel/stage/cycle_pattern.hpp"
#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/waiting_losses.hpp"

namespace kurbel {

/// Tries kinds of response, and where the work is a guess several sizes of it: each finds losses, and the one is right that leaves windows that
/// look like healthy ones. Lives for one first look.
template <class Real>
class FirstGuess {
  public:
    explicit FirstGuess(WaitingLosses<Real>& losses) noexcept : losses_(losses), engine_(losses.windows.engine) {}

    /// Asks which kind of response explains most of what the waiting firings show together, and where the work is a guess, how much of it there is.
    void take() noexcept {
        if (!engine_.bank.untaught()) return;
        const Guess guess = engine_.sized() ? guess_for(Real(1)) : guess_of_best_size();
        if (static_cast<Real>(guess.most) > kClearly) {
            losses_.limit = guess.limit;
            if (!engine_.expected.known(true)) resize(guess);
        }
        engine_.bank.expect(guess.gains);
        engine_.bank.assume(0);
        engine_.match();
    }

  private:
    static constexpr Real kLimit = WaitingLosses<Real>::kLimit;
    static constexpr Real kRare = Real(4);  // logarithm: one firing in fifty loses its work
    static constexpr std::size_t kLooked =
        6;  // kinds: the order is a first measure, of drawn engines three were too few
    static constexpr Real kClearly = Real(10);  // log-odds

    /// What explains the firings that wait, if a lost combustion reads as `whole`.
    struct Guess {
        ResponseBank::Gains gains{};  ///< how much likelier each kind of response makes them
        float most = 0;               ///< of the likeliest kind,
        int kind = 0;                 ///< which it is,
        Real limit = kLimit;          ///< and with it how many deviations of healthy firings are a loss
        Real whole = Real(1);
    };

    [[nodiscard]] Guess guess_for(Real whole) noexcept {
        Guess guess;
        guess.whole = losses_.whole = whole;
        const Real strange = losses_.strangeness();
        for (const int h : most_promising()) {
            if (h < 0) continue;
            engine_.assume(h);
            losses_.limit = least_limit();
            losses_.find();
            weigh(guess, h, strange);
            losses_.limit = kLimit;
            if (least_limit() < kLimit && losses_.found.give_back(losses_.windows.pending, kLimit))
                weigh(guess, h, strange);
        }
        losses_.limit = kLimit;
        return guess;
    }

    /// Where many are lost the others seem to scatter by as much as a loss is: then a loss is told by its size alone, if that is known.
    [[nodiscard]] Real least_limit() const noexcept { return engine_.sized() ? Real(0) : kLimit; }

    /// The kinds of response under which the least is left of how firings scatter, each in the measure of its own weights; -1 where there are not
    /// so many.
    [[nodiscard]] std::array<int, kLooked> most_promising() noexcept {
        std::array<int, kLooked> best;
        std::array<Real, kLooked> left;
        best.fill(-1);
        left.fill(std::numeric_limits<Real>::max());
        losses_.limit = least_limit();
        for (int h = 0; h < engine_.bank.hypotheses(); ++h) {
            engine_.assume(h);
            losses_.find();
            if (losses_.found.losses() == 0) continue;
            const Real here =
                static_cast<Real>(losses_.found.others()) * std::log(left_by(losses_.found.deviation()) + Real(1e-6)) +
                kRare * static_cast<Real>(losses_.found.losses());
            std::size_t at = kLooked;
            while (at > 0 && here < left[at - 1]) --at;
            if (at == kLooked) continue;
            std::copy_backward(best.begin() + at, best.end() - 1, best.end());
            std::copy_backward(left.begin() + at, left.end() - 1, left.end());
            best[at] = h;
            left[at] = here;
        }
        return best;
    }

    /// What the firings scatter by that lost nothing, in the measure of the weights in use.
    [[nodiscard]] Real left_by(Real deviation) const noexcept {
        return deviation * std::sqrt(static_cast<Real>(engine_.bank.precision(0)));
    }

    /// guess_for() the size that explains most.
    [[nodiscard]] Guess guess_of_best_size() noexcept {
        // The usual one first, each within the reach of the one beside it.
        constexpr std::array<Real, 4> kSizes{Real(0.7), Real(0.35), Real(1.4), Real(2.8)};
        Guess best = guess_for(kSizes[0]);
        for (std::size_t i = 1; i < kSizes.size(); ++i) {
            const Guess guess = guess_for(kSizes[i]);
            if (guess.most >= best.most + static_cast<float>(kRare)) best = guess;
        }
        losses_.whole = best.whole;
        return best;
    }

    /// Expects from now on what the losses read as.
    void resize(const Guess& guess) noexcept {
        engine_.assume(guess.kind);
        losses_.find();
        if (losses_.found.losses() == 0) return;
        Real sum = 0;
        for (int n = 0; n < losses_.found.losses(); ++n) sum += losses_.found.lost(n);
        engine_.expected.rescale(sum / static_cast<Real>(losses_.found.losses()));
        engine_.begin_covariance(losses_.windows.pending[0].bin);
        losses_.windows.reopen(losses_.windows.pending[0].bin);
        losses_.whole = Real(1);
    }

    /// Asks how much likelier what is there becomes by the losses that are found under a hypothesis, which was as `strange` before.
    void weigh(Guess& guess, int hypothesis, Real strange) noexcept {
        if (losses_.found.losses() == 0) return;
        auto& residuals = engine_.residuals;
        const CyclePattern<Real> before = residuals.pattern();
        losses_.take_out();
        losses_.learn_again(false);
        const auto gain =
            static_cast<float>(strange - losses_.strangeness() - kRare * static_cast<Real>(losses_.found.losses()));
        losses_.put_back();
        residuals.restore_pattern(before);
        float& best = guess.gains[static_cast<std::size_t>(hypothesis)];
        best = std::max(best, gain);
        if (gain <= guess.most) return;
        guess.most = gain;
        guess.kind = hypothesis;
        guess.limit = losses_.limit;
    }

    WaitingLosses<Real>& losses_;
    LearnedEngine<Real>& engine_;
};

}  // namespace kurbel
