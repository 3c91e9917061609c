// Which cylinders are failing: whoever has begun to misfire is likely to do so again.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>

#include "kurbel/core/config.hpp"

namespace kurbel {

/// Each cylinder works well or fails, and which of the two is not seen, but what its firings read as is (hidden Markov model of two states, forward
/// algorithm: Rabiner, Proc. IEEE 77:257-286, 1989, from memory). One that works well misfires at its usual rate, one that fails nearly
/// always. So several doubtful losses of the same cylinder in a row are less doubtful than each of them, and one that dies while it is
/// watched is known within a few firings, before its losses are taken for its pattern.
template <class Real>
class FailingCylinders {
  public:
    void begin() noexcept { failing_.fill(0.0F); }
    void forget(int place) noexcept { failing_[static_cast<std::size_t>(place)] = 0.0F; }

    /// Rate of misfires that is to be expected of the next firing, where `usual` is that of a cylinder that works well; what may happen to anybody
    /// is in that.
    [[nodiscard]] Real rate(int place, Real usual) const noexcept {
        const Real fails = std::max(static_cast<Real>(failing_[static_cast<std::size_t>(place)]) - kBegins, Real(0));
        return usual + fails * std::max(kFails - usual, Real(0));
    }

    /// One more firing: the likelihood `ratio` of "a misfire" over "healthy" by what it reads as.
    void follow(int place, Real ratio, Real usual) noexcept {
        float& state = failing_[static_cast<std::size_t>(place)];
        const Real before = static_cast<Real>(state) * (Real(1) - kEnds) + kBegins;
        const Real told = std::clamp(ratio, Real(1) / kMostTold, kMostTold);
        const Real fails = before * (kFails * told + Real(1) - kFails);
        const Real works = (Real(1) - before) * (usual * told + Real(1) - usual);
        state = static_cast<float>(fails / (fails + works));
    }

  private:
    // Engineering ranges, from memory: chances that one firing is the first or the last of a failing cylinder, and what it misfires of.
    static constexpr Real kBegins = Real(1e-4);
    static constexpr Real kEnds = Real(0.02);
    static constexpr Real kFails = Real(0.9);
    // No firing alone is beyond doubt: what pushed the crank once may have done so twice.
    static constexpr Real kMostTold = Real(100);

    std::array<float, kMaxCylinders> failing_{};  // probability, by place
};

}  // namespace kurbel
