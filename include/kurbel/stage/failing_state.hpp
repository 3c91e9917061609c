// Whether something that worked has begun to fail, from firings each of which may be doubtful.
#pragma once

#include <algorithm>

namespace kurbel {

/// Hidden Markov model of two states, forward algorithm (Rabiner, Proc. IEEE 77:257-286, 1989, from memory): what works misfires at its usual
/// rate, what fails nearly always, and which of the two is not seen. The state is the odds that it fails.
template <class Real>
struct FailingState {
    // Engineering ranges, from memory: chances that one firing is the first or the last of what fails.
    static constexpr Real kBegins = Real(1e-4);
    static constexpr Real kEnds = Real(0.02);
    // No firing alone is beyond doubt: what pushed the crank once may have done so twice.
    static constexpr Real kMostTold = Real(100);

    /// How much likelier a firing is of what misfires at the rate `fails` than of what does at the rate `works`; `ratio`: the likelihood of "a
    /// misfire" over that of "healthy" by what it reads as.
    [[nodiscard]] static Real told(Real ratio, Real works, Real fails) noexcept {
        const Real most = std::min(ratio, kMostTold);
        return (fails * most + Real(1) - fails) / (works * most + Real(1) - works);
    }

    /// One more firing, which is so much likelier of what fails. Whatever was before, the odds before it are less than one over kEnds.
    [[nodiscard]] static float after(float odds, Real told) noexcept {
        const auto o = static_cast<Real>(odds);
        const Real begun = kBegins * (Real(1) + o);
        const Real before = (o * (Real(1) - kEnds) + begun) / (Real(1) + o * kEnds - begun);
        return static_cast<float>(before * told);
    }
};

}  // namespace kurbel
