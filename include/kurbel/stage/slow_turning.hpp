// How much more the speed may swing where the crank all but stands than where it turns at its fastest.
#pragma once

#include <algorithm>
#include <array>

#include "kurbel/stage/wheel_table.hpp"

namespace kurbel::decoding {

/// Torque changes the square of the speed by as much over each tooth, whatever the speed (d(omega^2) = 2 T / J d theta); the share that
/// this is of the speed grows with the square of the period. Seen from raw periods: the shorter of two neighbours, so that a
/// gap does not count as slow, against the shortest pair of about a revolution.
class SlowTurning {
  public:
    void configure(const WheelTable& wheel) noexcept {
        float narrowest = wheel.span(0);
        float widest = 0.0F;
        for (int i = 0; i < wheel.teeth; ++i) {
            narrowest = std::min(narrowest, wheel.span(i));
            widest = std::max(widest, std::min(wheel.span(i), wheel.span(wheel.next(i))));
        }
        alike_ = widest / narrowest;
        forget_ = 1.0F + 1.0F / static_cast<float>(wheel.teeth);
        reset();
    }
    void reset() noexcept { fastest_ = 0.0; }

    /// Takes two neighbouring periods, ticks.
    void observe(double period, double before) noexcept {
        const double fast = std::max(period, before);
        fastest_ = fastest_ > 0.0 ? std::min(fast, fastest_ * static_cast<double>(forget_)) : fast;
        const auto slow = static_cast<float>(std::min(period, before) / fastest_) / alike_;
        swing_ = std::clamp(slow * slow, 1.0F, kMost);
    }
    /// Factor on the swing that is possible at speed, 1 or more.
    [[nodiscard]] float swing() const noexcept { return swing_; }

  private:
    static constexpr float kMost = 10.0F;

    double fastest_ = 0.0;
    float alike_ = 1.0F;  ///< the wheel's own share in how long two neighbouring periods can be
    float forget_ = 1.0F;
    float swing_ = 1.0F;
};

}  // namespace kurbel::decoding
