// What the samples themselves say of the recorder: its smallest step, the ends of its range, waves that are cut off there.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace kurbel::signal {

template <class Real>
class ConverterWatch {
  public:
    void push(Real x) noexcept {
        if (first_) {
            first_ = false;
            last_ = top_ = bottom_ = high_ = low_ = x;
        }
        const Real change = std::fabs(x - last_);
        if (change > 0 && (!(step_ > 0) || change < step_)) step_ = change;
        last_ = x;
        top_ = std::max(top_, x);
        bottom_ = std::min(bottom_, x);
        ++samples_;
        if (x > high_) {
            high_ = x;
            at_high_ = 1;
        } else if (x == high_) {
            ++at_high_;
        }
        if (x < low_) {
            low_ = x;
            at_low_ = 1;
        } else if (x == low_) {
            ++at_low_;
        }
    }

    /// A tooth's wave, upper and lower half, is over; `swing` peak to peak.
    void end_wave(Real swing) noexcept {
        // An unclipped sine spends arccos(1 - 1/n) / (pi/2) of a half-wave on its last step of n.
        const double steps = step_ > 0 ? 0.5 * static_cast<double>(swing / step_) : 1e9;
        const double fair = std::acos(std::max(0.0, 1.0 - 1.0 / std::max(steps, 1.0))) / 1.5708;
        const double least = std::max(3.0, 0.75 * fair * static_cast<double>(samples_));
        const bool cut = (high_ == top_ && static_cast<double>(at_high_) > least) ||
                         (low_ == bottom_ && static_cast<double>(at_low_) > least);
        if (waves_ < 256) ++waves_;
        share_ += ((cut ? 1.0 : 0.0) - share_) / static_cast<double>(waves_);
        high_ = low_ = last_;
        at_high_ = at_low_ = 1;
        samples_ = 1;
    }

    [[nodiscard]] Real step() const noexcept { return step_; }
    /// Swings below this may be the converter's last step coming and going. A recorder of logic levels has one step alone.
    [[nodiscard]] Real flicker() const noexcept {
        const Real range = top_ - bottom_;
        return range >= 8 * step_ ? 3 * step_ : Real(0.15) * range;
    }
    /// Share of the last waves that were cut off.
    [[nodiscard]] double clipped_share() const noexcept { return share_; }

  private:
    Real last_ = 0;
    Real step_ = 0;
    Real top_ = 0;
    Real bottom_ = 0;
    Real high_ = 0;
    Real low_ = 0;
    std::int64_t at_high_ = 0;
    std::int64_t at_low_ = 0;
    std::int64_t samples_ = 0;
    double share_ = 0.0;
    std::int32_t waves_ = 0;
    bool first_ = true;
};

}  // namespace kurbel::signal
