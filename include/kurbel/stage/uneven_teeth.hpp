// How unevenly the teeth of this very wheel stand, from periods alone, before it is known which tooth is which.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/stage/tooth_fit.hpp"

namespace kurbel::decoding {

/// A gap must not look like an uneven wheel, nor uneven teeth like gaps: so the measure is the median change of the ratio of
/// neighbouring periods, over the share of the wheel where there is no gap. A speed that swings changes that ratio little.
class UnevenTeeth {
  public:
    void configure(const WheelTable& wheel) noexcept {
        pitch_deg_ = *std::min_element(wheel.span_deg.begin(), wheel.span_deg.begin() + wheel.teeth);
        int plain = 0;
        for (int i = 0; i < wheel.teeth; ++i) {
            const int back = wheel.previous(i);
            const float least = std::min({wheel.span(i), wheel.span(back), wheel.span(wheel.previous(back))});
            const float most = std::max({wheel.span(i), wheel.span(back), wheel.span(wheel.previous(back))});
            if (most < kAlike * least) ++plain;
        }
        // Changes at gaps are larger than all others. Where most are such, there is no telling.
        share_ = 2 * plain > wheel.teeth ? 0.5F * static_cast<float>(plain) / static_cast<float>(wheel.teeth) : 0.0F;
        median_ = kMostDeg / (kDegrees * pitch_deg_);
    }

    /// Takes the log ratio of a period to the one before it, where the one before that ratio was `before`.
    void observe(float ratio, float before) noexcept {
        if (share_ == 0.0F) return;
        const bool above = std::fabs(ratio - before) > median_;
        median_ *= above ? 1.0F + kStep * share_ : 1.0F - kStep * (1.0F - share_);
        median_ = std::clamp(median_, kLeast, 1.0F);
    }

    /// Standard deviation of the intervals that is not told by fit_variance's relative part, degrees.
    [[nodiscard]] float deg() const noexcept {
        const float ratio = kDegrees * median_;
        const float excess = std::max(0.0F, ratio * ratio - kPitchRelative * kPitchRelative) * pitch_deg_ * pitch_deg_;
        return std::clamp(std::sqrt(excess), kPitchDeg, kMostDeg);
    }

  private:
    static constexpr float kAlike = 1.2F;
    /// Of the estimate, an edge; it follows a change fourfold within some thirty of them.
    static constexpr float kStep = 0.2F;
    static constexpr float kLeast = 1e-3F;
    /// Teeth that stand off independently by s scatter the ratio of periods by sqrt(6) s and its change by sqrt(20) s; the
    /// median of a normal deviation is 0.6745 of its standard deviation.
    static constexpr float kDegrees = 0.812F;  // sqrt(6 / 20) / 0.6745
    /// No wheel is worse: what seems so is a speed that swings.
    static constexpr float kMostDeg = 1.0F;

    float pitch_deg_ = 6.0F;
    float share_ = 0.0F;  ///< of all changes that are no larger than the plain ones' median; 0 = not to be learned
    float median_ = 0.0F;
};

}  // namespace kurbel::decoding
