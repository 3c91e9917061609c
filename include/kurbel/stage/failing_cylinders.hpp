// Which cylinders are failing: whoever has begun to misfire is likely to do so again.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/failing_state.hpp"

namespace kurbel {

/// Each cylinder works well or fails, see FailingState. So several doubtful losses of the same cylinder in a row are less doubtful than each of
/// them, and one that dies while it is watched is known within a few firings, before its losses are taken for its pattern.
template <class Real>
class FailingCylinders {
  public:
    void begin() noexcept { odds_.fill(0.0F); }
    void forget(int place) noexcept { odds_[static_cast<std::size_t>(place)] = 0.0F; }

    /// Probability that a cylinder fails.
    [[nodiscard]] Real failing(int place) const noexcept {
        const auto odds = static_cast<Real>(odds_[static_cast<std::size_t>(place)]);
        return odds / (Real(1) + odds);
    }

    /// One more firing: the likelihood `ratio` of "a misfire" over "healthy"; `usual`: the rate of misfires of a cylinder that works well.
    void follow(int place, Real ratio, Real usual) noexcept {
        using State = FailingState<Real>;
        float& odds = odds_[static_cast<std::size_t>(place)];
        odds = State::after(odds, State::told(std::max(ratio, Real(1) / State::kMostTold), usual, kFails));
    }

    /// Rate of misfires of a cylinder that fails with this probability, where `usual` is that of one that works well; what may happen to anybody
    /// is in that.
    [[nodiscard]] static Real rate(Real failing, Real usual) noexcept {
        return usual + std::max(failing - FailingState<Real>::kBegins, Real(0)) * std::max(kFails - usual, Real(0));
    }

  private:
    static constexpr Real kFails = Real(0.9);  // rate of a cylinder that fails (engineering range, from memory)

    std::array<float, kMaxCylinders> odds_{};  // that it fails, by place
};

}  // namespace kurbel
