// How well an edge fits as a tooth of the wheel, given the edges before it: what gap search and tracking share.
#pragma once

#include <algorithm>
#include <cstdint>

#include "kurbel/stage/tick_unwrap.hpp"
#include "kurbel/stage/wheel_table.hpp"

namespace kurbel::decoding {

// Costs are negative log likelihoods. The rates behind the penalties are about 2e-3 a tooth.
inline constexpr float kExtraCost = 6.0F;   ///< an edge that is no tooth
inline constexpr float kMissedCost = 6.0F;  ///< a tooth without an edge
/// Weak teeth vanish more easily. A weak tooth that never shows could be the one before the gap or the one after it, and
/// nothing in the periods tells which; the difference of these two settles it by convention: it is the one after.
inline constexpr float kMissedBeforeGapCost = 7.0F;
inline constexpr float kMissedAfterGapCost = 4.0F;

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
        level = std::clamp(x * x / (most * most), std::max(kFloor, level * keep), 1.0F);
    }
};

/// Variance expected of log_ratio between an interval of `span_deg` and the one of `before_deg` ahead of it.
[[nodiscard]] inline float fit_variance(float span_deg, float before_deg, float ripple_level) noexcept {
    const float ripple = std::min(kRippleDeg * 0.5F * (span_deg + before_deg), kRippleMost);
    const float fine = kPitchDeg / std::min(span_deg, before_deg);
    return kPitchRelative * kPitchRelative + fine * fine + ripple_level * ripple * ripple;
}

/// Cost of seeing no edge of `tooth`.
[[nodiscard]] inline float missed_cost(const WheelTable& wheel, int tooth) noexcept {
    if (!wheel.is_weak(tooth)) return kMissedCost;
    return wheel.span(tooth) > wheel.span(wheel.previous(tooth)) ? kMissedBeforeGapCost : kMissedAfterGapCost;
}

/// One story of the edges so far, reduced to what the next edge is judged by.
struct Trace {
    std::int64_t anchor_tick = 0;  ///< the last firm tooth
    double rate = 0.0;             ///< ticks a degree of the interval that ended there; 0 = not known yet
    float anchor_span = 0.0F;      ///< degrees from there to `tooth`; 0 where `tooth` is firm
    float rate_span = 0.0F;        ///< degrees of the interval that `rate` was measured over
    float cost = 0.0F;
    std::int32_t tooth = 0;

    [[nodiscard]] bool firm() const noexcept { return anchor_span == 0.0F; }
};

/// What the last step of a story said.
struct Fit {
    float cost = 0.0F;  ///< of the deviation alone, without teeth skipped
    float x = 0.0F;     ///< firm teeth: log ratio of the rates now and before
};

/// Passes over the tooth that `trace` stands at.
inline void pass(const WheelTable& wheel, Trace& trace) noexcept {
    trace.anchor_span += wheel.span(trace.tooth);
    trace.tooth = wheel.next(trace.tooth);
}

/// Takes the edge at `tick` for the tooth that `trace` was passed on to. Firm teeth are judged by the speed since the
/// last firm one and become the new one; weak teeth are only placed. Adds nothing to trace.cost.
[[nodiscard]] inline Fit land(const WheelTable& wheel, Trace& trace, std::int64_t tick, float ripple_level) noexcept {
    const double rate = ticks_between(trace.anchor_tick, tick) / static_cast<double>(trace.anchor_span);
    Fit fit;
    const bool weak = wheel.is_weak(trace.tooth);
    if (trace.rate > 0.0) {
        float variance = fit_variance(trace.anchor_span, trace.rate_span, ripple_level);
        if (weak) {
            // Placed, not timed: how far from its place, as a share of the way to it.
            fit.x = static_cast<float>((rate - trace.rate) / trace.rate);
            const float wobble = kWeakPitch * wheel.pitch(trace.tooth) / trace.anchor_span;
            variance += wobble * wobble;
        } else {
            fit.x = log_ratio(rate, trace.rate);
        }
        fit.cost = 0.5F * fit.x * fit.x / variance;
    }
    if (!weak) {
        trace.anchor_tick = tick;
        trace.rate = rate;
        trace.rate_span = trace.anchor_span;
        trace.anchor_span = 0.0F;
    }
    return fit;
}

}  // namespace kurbel::decoding
