// Whether something that worked has begun to fail, from firings each of which may be doubtful.
#pragma once

#include <algorithm>

namespace kurbel {

/// Hidden Markov model of two states, forward algorithm (Rabiner, Proc. IEEE 77:257-286, 1989, from memory): what works misfires at its usual
/// rate, what fails nearly always, and which of the two is not seen. The state is the probability that it fails.
template <class Real>
struct FailingState {
    // Engineering ranges, from memory: chances that one firing is the first or the last of what fails.
    static constexpr Real kBegins = Real(1e-4);
    static constexpr Real kEnds = Real(0.02);
    // No firing alone is beyond doubt: what pushed the crank once may have done so twice.
    static constexpr Real kMostTold = Real(100);

    /// One more firing: the likelihood `ratio` of "a misfire" over "healthy" by what it reads as; misfires at the rates `works` and `fails`.
    static void follow(float& state, Real ratio, Real works, Real fails) noexcept {
        const Real told = std::min(ratio, kMostTold);
        const Real before = static_cast<Real>(state) * (Real(1) - kEnds) + kBegins;
        const Real failing = before * (fails * told + Real(1) - fails);
        const Real working = (Real(1) - before) * (works * told + Real(1) - works);
        state = static_cast<float>(failing / (failing + working));
    }
};

}  // namespace kurbel
