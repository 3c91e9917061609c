// Whether the driver's foot has been still, so that it is the road that shakes the driveline.
#pragma once

#include <algorithm>
#include <cmath>

namespace kurbel {

/// Follows the load. Who opens the clutch or changes gear lifts the foot before and puts it down after; what shakes the driveline
/// while the load has been still for some seconds is the road. An idle governor moves the load by less (common practice, no source).
class PedalRest {
  public:
    void begin() noexcept { *this = PedalRest{}; }

    /// Takes the load of a firing, NaN where unknown, and the time since the one before, s.
    void take(float load, float since_s) noexcept {
        if (!(load == load)) {
            *this = PedalRest{};
            return;
        }
        usual_ = usual_ < 0.0F ? load : usual_ + (load - usual_) * std::min(since_s / kUsual_s, 1.0F);
        still_s_ = std::fabs(load - usual_) > kMoved ? 0.0F : still_s_ + since_s;
    }

    /// Whether the foot has been still for longer than clutch work takes; never where the load is unknown.
    [[nodiscard]] bool still() const noexcept { return usual_ >= 0.0F && still_s_ > kStill_s; }

  private:
    static constexpr float kUsual_s = 1.0F;
    static constexpr float kMoved = 0.05F;  // of full charge
    static constexpr float kStill_s = 2.0F;

    float usual_ = -1.0F;              // mean of the last second; below zero: none yet
    float still_s_ = 2.0F * kStill_s;  // at a stream's beginning nothing says that it moved
};

}  // namespace kurbel
