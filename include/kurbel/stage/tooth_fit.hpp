// How well an interval between two edges fits the teeth it is taken for: the cost that gap search and tracking share.
#pragma once

#include <algorithm>

#include "kurbel/stage/wheel_table.hpp"

namespace kurbel::decoding {

// Costs are negative log likelihoods. The rates behind the penalties are about 2e-3 a tooth.
inline constexpr float kExtraCost = 6.0F;       ///< an edge that is no tooth
inline constexpr float kMissedCost = 6.0F;      ///< a tooth without an edge
inline constexpr float kWeakMissedCost = 4.0F;  ///< the same for a weak tooth

/// Pitch error and jitter of one interval against its neighbour: relative part, and degrees.
inline constexpr float kPitchRelative = 0.04F;
inline constexpr float kPitchDeg = 0.05F;
/// Speed ripple: change of log speed a degree, and its bound. Cranking swings the speed by 2 to 1 within 60 to 90
/// degrees (0.008 to 0.012 a degree); over longer spans the swing does not grow further.
inline constexpr float kRippleDeg = 0.008F;
inline constexpr float kRippleMost = 0.35F;

/// Nearly log(a / b) for positive a, b: 2 (a - b) / (a + b). Rational, so that every platform gives the same bits, and
/// bounded by 2.
[[nodiscard]] inline float log_ratio(double a, double b) noexcept {
    return static_cast<float>(2.0 * (a - b) / (a + b));
}

/// Running measure of how much the speed swings from interval to interval: 1 = as much as cranking can, down to a floor.
/// Slow to forget (about half a revolution), so that a quiet stretch between two compressions does not count as calm.
struct Ripple {
    static constexpr float kFloor = 0.02F;
    float level = 1.0F;
    float keep = 0.9F;

    void configure(const WheelTable& wheel) noexcept {
        keep = std::clamp(1.0F - 2.0F / static_cast<float>(wheel.teeth), 0.5F, 0.98F);
        level = 1.0F;
    }
    void decay() noexcept { level = std::max(kFloor, level * keep); }
    /// `x`: log_ratio of two neighbouring rates whose centres lie `distance_deg` apart.
    void observe(float x, float distance_deg) noexcept {
        const float most = std::min(kRippleDeg * distance_deg, kRippleMost);
        level = std::clamp(x * x / (most * most), level * keep < kFloor ? kFloor : level * keep, 1.0F);
    }
};

/// Variance expected of log_ratio between an interval of `span_deg` and the one of `before_deg` ahead of it.
[[nodiscard]] inline float fit_variance(float span_deg, float before_deg, float ripple_level) noexcept {
    const float ripple = std::min(kRippleDeg * 0.5F * (span_deg + before_deg), kRippleMost);
    const float fine = kPitchDeg / std::min(span_deg, before_deg);
    return kPitchRelative * kPitchRelative + fine * fine + ripple_level * ripple * ripple;
}

}  // namespace kurbel::decoding
