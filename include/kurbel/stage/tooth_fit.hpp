// How well an edge fits as a tooth of the wheel, given the edges before it: what gap search and tracking share.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/stage/tick_unwrap.hpp"
#include "kurbel/stage/wheel_table.hpp"

namespace kurbel::decoding {

// Costs are negative log likelihoods. The rates behind the penalties are about 2e-3 a tooth.
inline constexpr float kExtraCost = 6.0F;   ///< an edge that is no tooth
inline constexpr float kMissedCost = 6.0F;  ///< a tooth without an edge
/// Weak teeth vanish more easily. A weak tooth that never shows could be the one before the gap or the one after it,
/// and nothing in the periods tells which; the difference of these two settles it by convention: it is the one after.
inline constexpr float kMissedBeforeGapCost = 7.0F;
inline constexpr float kMissedAfterGapCost = 2.5F;

/// Pitch error and jitter of one interval against its neighbour: relative part, and degrees.
inline constexpr float kPitchRelative = 0.04F;
inline constexpr float kPitchDeg = 0.1F;
/// Speed ripple: change of log speed a degree, and its bound. Cranking swings the speed by 2 to 1 within 60 to 90
/// degrees (0.008 to 0.012 a degree); over longer spans the swing does not grow further.
inline constexpr float kRippleDeg = 0.008F;
inline constexpr float kRippleMost = 0.35F;

/// Nearly log(a / b) for positive a, b: 2 (a - b) / (a + b). Rational, so that every platform gives the same bits, and
/// bounded by 2.
[[nodiscard]] inline float log_ratio(double a, double b) noexcept {
    return static_cast<float>(2.0 * (a - b) / (a + b));
}

/// What the log ratios of neighbouring rates scatter by.
struct Spread {
    float ripple = 1.0F;           ///< of the speed: 1 = as much as cranking can
    float uneven_deg = kPitchDeg;  ///< of this wheel's intervals
};

/// Running measure of how much the speed swings from interval to interval, down to a floor. Slow to forget (about half a
/// revolution), so that a quiet stretch between two compressions does not count as calm. What unevenly placed teeth do is
/// no swing.
struct Ripple {
    static constexpr float kFloor = 0.02F;
    static constexpr float kForgiven = 6.0F;  ///< squares of that, in variances: one ratio in seventy is larger
    Spread now{};
    float forgiven = 0.0F;  ///< square degrees
    float keep = 0.9F;

    void configure(const WheelTable& wheel) noexcept {
        keep = std::clamp(1.0F - 2.0F / static_cast<float>(wheel.teeth), 0.5F, 0.98F);
        now = Spread{};
        forgiven = 0.0F;
    }
    void restless() noexcept { now.ripple = 1.0F; }
    void expect_uneven(float deg) noexcept {
        now.uneven_deg = deg;
        forgiven = kForgiven * (deg * deg - kPitchDeg * kPitchDeg);
    }
    void decay() noexcept { now.ripple = std::max(kFloor, now.ripple * keep); }
    /// `x`: log_ratio of two neighbouring rates whose centres lie `distance_deg` apart, `least_deg` the shorter of them.
    void observe(float x, float distance_deg, float least_deg) noexcept {
        const float most = std::min(kRippleDeg * distance_deg, kRippleMost);
        float square = x * x;
        if (forgiven > 0.0F) square -= forgiven / (least_deg * least_deg);  // seldom: a division
        now.ripple = std::clamp(square / (most * most), std::max(kFloor, now.ripple * keep), 1.0F);
    }
};

/// Variance expected of log_ratio between an interval of `span_deg` and the one of `before_deg` ahead of it.
[[nodiscard]] inline float fit_variance(float span_deg, float before_deg, Spread spread) noexcept {
    const float ripple = std::min(kRippleDeg * 0.5F * (span_deg + before_deg), kRippleMost);
    const float fine = spread.uneven_deg / std::min(span_deg, before_deg);
    return kPitchRelative * kPitchRelative + fine * fine +
           std::min(spread.ripple * ripple * ripple, kRippleMost * kRippleMost);
}

/// The weak tooth right after a gap, as against the one before it.
[[nodiscard]] inline bool weak_after_gap(const WheelTable& wheel, int tooth) noexcept {
    return wheel.is_faint(tooth) || (wheel.is_weak(tooth) && wheel.span(wheel.previous(tooth)) > wheel.span(tooth));
}

/// What each tooth usually does: the rate at which it is reached, relative to the last firm tooth's. The swing of the
/// speed repeats from revolution to revolution while an engine is cranked or idles, and so do wheel error and the
/// places where weak teeth are really seen: the gap is measured, not insisted upon. 1 until learned.
struct ToothHabit {
    std::array<float, kMaxTeeth> ratio{};
    std::int32_t learned = 0;               ///< teeth learned since the start, up to one revolution
    float shown = 0.0F;                     ///< times in a row that the weak tooth after a gap was seen
    float vanishing = kMissedAfterGapCost;  ///< cost of not seeing it, up to that of any other tooth

    static constexpr float kShare = 0.5F;  ///< of the newest revolution
    /// Swings beyond this a degree, or in all, are not habits: a gap in the wrong place must never become one.
    static constexpr float kMostDeg = 0.02F;
    static constexpr float kMost = 0.7F;
    /// Nor is a weak tooth further from its place than this, pitches: it would be another one.
    static constexpr float kMostPitches = 0.5F;
    static constexpr float kPrior = 12.2F;  ///< e^2.5

    void reset(const WheelTable& wheel) noexcept {
        std::fill_n(ratio.begin(), wheel.teeth, 1.0F);
        learned = 0;
        weak_vanished();
    }
    [[nodiscard]] bool mature(const WheelTable& wheel) const noexcept { return learned >= wheel.teeth; }

    void learn(const WheelTable& wheel, int tooth, float seen) noexcept {
        float& habit = ratio[static_cast<std::size_t>(tooth)];
        float most = 0.05F + std::min(kMost, kMostDeg * wheel.sure_span(tooth));
        if (wheel.is_weak(tooth)) most = std::min(most, kMostPitches * wheel.pitch(tooth) / wheel.sure_span(tooth));
        const float now = std::clamp(seen, 1.0F - most, 1.0F + most);
        habit += (mature(wheel) ? kShare : 1.0F) * (now - habit);
    }

    /// The weak tooth after a gap was seen. One that has shown n times in a row vanishes with a chance of 1 in n + 12 (the rule of
    /// succession, with e^-2.5 before any was seen), so its cost is the sum of 1 / (n + 12).
    void weak_seen() noexcept {
        if (vanishing < kMissedCost) vanishing += 1.0F / (kPrior + shown);
        shown += 1.0F;
    }
    void weak_vanished() noexcept {
        vanishing = kMissedAfterGapCost;
        shown = 0.0F;
    }

    /// Expected rate from the firm tooth `span_deg` before `tooth` to `tooth`, relative to the rate at that firm tooth.
    [[nodiscard]] float expect(const WheelTable& wheel, int tooth, float span_deg) const noexcept {
        if (span_deg < wheel.sure_span(tooth) * 1.01F) return ratio[static_cast<std::size_t>(tooth)];  // the usual way
        // Firm teeth were missed: their rates multiply up.
        int steps = 0;
        int anchor = tooth;
        for (float rest = span_deg; rest > 0.5F * wheel.span(wheel.previous(anchor)); ++steps) {
            anchor = wheel.previous(anchor);
            rest -= wheel.span(anchor);
        }
        float product = 1.0F;
        float sum = 0.0F;
        float step_deg = 0.0F;
        for (; steps > 0; --steps) {
            step_deg += wheel.span(anchor);
            anchor = wheel.next(anchor);
            if (wheel.is_weak(anchor) && steps > 1) continue;
            product *= ratio[static_cast<std::size_t>(anchor)];
            sum += product * step_deg;
            step_deg = 0.0F;
        }
        return sum / span_deg;
    }
};

/// Cost of seeing no edge of `tooth`. `habit` may be null.
[[nodiscard]] inline float missed_cost(const WheelTable& wheel, int tooth, const ToothHabit* habit) noexcept {
    if (!weak_after_gap(wheel, tooth)) return wheel.is_weak(tooth) ? kMissedBeforeGapCost : kMissedCost;
    return habit == nullptr ? kMissedAfterGapCost : habit->vanishing;
}

/// A weak tooth far from its place costs no more than this.
inline constexpr float kMostWeakCost = 10.0F;
/// A faint tooth off its place.
inline constexpr float kFaintCost = 2.0F;
inline constexpr float kMostFaintCost = 8.0F;  ///< until the next tooth tells
/// One firm tooth costs no more than this: now and then a tooth stands off, and a squared deviation would rather
/// believe in a missed and an extra edge.
inline constexpr float kMostFirmCost = 20.0F;
/// Cost of an engine that ran calmly swinging as much as it can, at once: the first firing after cranking, say.
inline constexpr float kSurpriseCost = 5.0F;

/// Cost of a firm tooth whose log ratio of rates is `x`: half of the squared deviation where that is small.
[[nodiscard]] inline float firm_cost(float x, float span_deg, float before_deg, Spread spread) noexcept {
    const float half_square = 0.5F * x * x;
    const float calm = half_square / fit_variance(span_deg, before_deg, spread);
    const float wild = kSurpriseCost + half_square / fit_variance(span_deg, before_deg, {1.0F, spread.uneven_deg});
    const float cost = std::min(calm, wild);
    return cost / (1.0F + cost / kMostFirmCost);
}

/// One story of the edges so far, reduced to what the next edge is judged by.
struct Trace {
    static constexpr int kMostWeak = 2;

    std::int64_t anchor_tick = 0;  ///< the last firm tooth
    double rate = 0.0;             ///< ticks a degree of the interval that ended there; 0 = not known yet
    float anchor_span = 0.0F;      ///< degrees from there to `tooth`; 0 where `tooth` is firm
    float rate_span = 0.0F;        ///< degrees of the interval that `rate` was measured over
    float cost = 0.0F;
    std::int32_t tooth = 0;
    /// Weak teeth seen since the anchor: place on the wheel, and where they were seen at `rate`, from the anchor,
    /// pitches.
    std::array<float, kMostWeak> weak_place{};
    std::array<float, kMostWeak> weak_seen{};
    std::array<float, kMostWeak> weak_usual{};  ///< where they are usually seen, by the rate before
    std::array<float, kMostWeak> weak_cost{};   ///< what each was charged; settled at the next firm tooth
    std::uint8_t weak_count = 0;
    std::uint8_t periods = 0;  ///< intervals between firm teeth since the story began, up to kSteady
    bool faultless = true;     ///< no missed or extra edge in this story
    bool faint = false;        ///< the anchor is a faint tooth, noted as a weak one beside
    bool loose = false;        ///< the tooth after a gap was missed, so the next one is the first after it and as weak
    float swing = 0.0F;        ///< squared log ratios of the rates, over about the last two revolutions
    std::uint8_t gaps = 0;     ///< changes of pitch passed when the speed was known, up to kManyGaps

    /// Intervals after which the speed counts as known; the first ones may have been a standstill.
    static constexpr std::uint8_t kSteady = 2;
    static constexpr std::uint8_t kManyGaps = 200;

    [[nodiscard]] bool firm() const noexcept { return anchor_span == 0.0F; }

    void note_weak(float place, float seen, float usual, float charged) noexcept {
        if (weak_count == kMostWeak) return;
        weak_place[weak_count] = place;
        weak_seen[weak_count] = seen;
        weak_usual[weak_count] = usual;
        weak_cost[weak_count] = charged;
        ++weak_count;
    }
};

/// What the last step of a story said.
struct Fit {
    float firm_cost = 0.0F;  ///< of the speed measured at a firm tooth
    float weak_cost = 0.0F;  ///< of the places of weak teeth; may give back what was charged before
    float x = 0.0F;          ///< firm teeth: log ratio of the rate to the expected one
};

/// Passes over the tooth that `trace` stands at.
inline void pass(const WheelTable& wheel, Trace& trace) noexcept {
    trace.anchor_span += wheel.span(trace.tooth);
    trace.tooth = wheel.next(trace.tooth);
}

/// Passes over it as a missed one.
inline void miss(const WheelTable& wheel, Trace& trace, const ToothHabit* habit) noexcept {
    trace.cost += missed_cost(wheel, trace.tooth, habit);
    trace.loose = weak_after_gap(wheel, trace.tooth);
    trace.faultless = false;
    if (!trace.loose) trace.gaps = 0;
    pass(wheel, trace);
}

[[nodiscard]] inline float weak_cost(float off, float doubt) noexcept {
    return std::min(kMostWeakCost, 0.5F * off * off / (kWeakPitch * kWeakPitch + doubt * doubt));
}

/// Judges the weak teeth since the anchor again, now that the firm tooth after them gives the mean rate, `speedup`
/// times the one before (`usual` times by habit): the rate is taken to have changed linearly, and what a weak tooth
/// usually stands off that is its own. What it was charged before is given back.
[[nodiscard]] inline float settle_weak(Trace& trace, float speedup, float usual, float pitch_deg,
                                       Spread spread) noexcept {
    const float reach = trace.anchor_span / pitch_deg;
    const float before = trace.rate_span / pitch_deg;
    // A rate that does not change linearly bends the path between the firm teeth by an eighth of the swing.
    const float doubt = 0.125F * kRippleDeg * trace.anchor_span * reach * std::sqrt(spread.ripple);
    float change = 0.0F;
    for (std::size_t i = 0; i < trace.weak_count; ++i) {
        const float place = trace.weak_place[i];
        const float bend = place * (place + before) / (reach + before);
        const float expected = trace.weak_usual[i] + (speedup - usual) * bend;
        change += weak_cost(trace.weak_seen[i] - expected, doubt) - trace.weak_cost[i];
    }
    trace.weak_count = 0;
    return change;
}

/// The anchor is a faint tooth. Where the edges fit better if that one stands off its place, the speed is measured from the firm
/// tooth before it, and what it was charged is given back. False: nothing happened.
[[nodiscard]] inline bool reread(const WheelTable& wheel, Trace& trace, std::int64_t tick, Spread spread,
                                 Fit& fit) noexcept {
    const float reach_deg = trace.weak_place[0] * wheel.weak_pitch_deg;
    const double before = trace.rate * static_cast<double>(trace.weak_place[0] / trace.weak_seen[0]);
    const double elapsed = ticks_between(trace.anchor_tick, tick) + trace.rate * static_cast<double>(reach_deg);
    Trace again = trace;
    again.anchor_span += reach_deg;
    again.rate = before;
    again.rate_span = wheel.weak_pitch_deg;
    const double rate = elapsed / static_cast<double>(again.anchor_span);
    const float x = log_ratio(rate, before);
    const float firm = firm_cost(x, again.anchor_span, again.rate_span, spread);
    const float weak =
        kFaintCost + settle_weak(again, static_cast<float>(rate / before), 1.0F, wheel.weak_pitch_deg, spread);
    if (firm + weak >= fit.firm_cost) return false;
    fit.x = x;
    fit.firm_cost = firm;
    fit.weak_cost = weak;
    trace.weak_count = 0;
    trace.faint = false;
    trace.anchor_tick = tick;
    trace.rate = rate;
    trace.rate_span = again.anchor_span;
    trace.anchor_span = 0.0F;
    return true;
}

/// Takes the edge at `tick` for the tooth that `trace` was passed on to. Firm teeth are judged by the speed since the
/// last firm one and become the new one; weak teeth are only placed. `habit` may be null. Adds nothing to trace.cost.
[[nodiscard]] inline Fit land(const WheelTable& wheel, Trace& trace, std::int64_t tick, Spread spread,
                              const ToothHabit* habit) noexcept {
    const double elapsed = ticks_between(trace.anchor_tick, tick);
    const double rate = elapsed / static_cast<double>(trace.anchor_span);
    const bool known = trace.rate > 0.0;
    const float usual = habit == nullptr ? 1.0F : habit->expect(wheel, trace.tooth, trace.anchor_span);
    Fit fit;
    const bool loose = trace.loose && known;
    const bool weak = wheel.is_weak(trace.tooth) || (loose && wheel.has_weak);
    const bool faint = wheel.is_faint(trace.tooth) || (loose && !wheel.has_weak);
    trace.loose = false;
    if (weak) {
        if (!known) return fit;
        const float place = trace.anchor_span / wheel.weak_pitch_deg;
        const float seen = static_cast<float>(elapsed / trace.rate) / wheel.weak_pitch_deg;
        const float swing = kRippleDeg * 0.5F * (trace.anchor_span + trace.rate_span);
        fit.weak_cost =
            weak_cost(seen - place * usual, place * std::min(swing, kRippleMost) * std::sqrt(spread.ripple));
        trace.note_weak(place, seen, place * usual, fit.weak_cost);
        return fit;
    }
    if (known) {
        fit.x = log_ratio(rate, trace.rate * static_cast<double>(usual));
        fit.firm_cost = firm_cost(fit.x, trace.anchor_span, trace.rate_span, spread);
        if (trace.faint && reread(wheel, trace, tick, spread, fit)) return fit;
        if (trace.faint) trace.weak_count = 0;
        if (trace.weak_count > 0)
            fit.weak_cost =
                settle_weak(trace, static_cast<float>(rate / trace.rate), usual, wheel.weak_pitch_deg, spread);
    }
    trace.faint = faint && trace.periods >= Trace::kSteady;
    if (trace.faint) {
        fit.firm_cost = std::min(fit.firm_cost, kMostFaintCost);
        const float place = trace.anchor_span / wheel.weak_pitch_deg;
        trace.note_weak(place, static_cast<float>(elapsed / trace.rate) / wheel.weak_pitch_deg, place * usual,
                        fit.firm_cost);
    }
    if (trace.periods >= Trace::kSteady && trace.anchor_span > trace.rate_span && trace.gaps < Trace::kManyGaps)
        ++trace.gaps;
    trace.periods = std::min<std::uint8_t>(Trace::kSteady, static_cast<std::uint8_t>(trace.periods + 1));
    trace.anchor_tick = tick;
    trace.rate = rate;
    trace.rate_span = trace.anchor_span;
    trace.anchor_span = 0.0F;
    return fit;
}

/// Goes from `trace` over `jump` teeth to an edge at `tick`, adding the cost of the fit and of the teeth skipped.
[[nodiscard]] inline Trace extend(const WheelTable& wheel, const Trace& trace, std::int64_t tick, int jump,
                                  Spread spread, const ToothHabit* habit) noexcept {
    Trace next = trace;
    pass(wheel, next);
    for (int k = 1; k < jump; ++k) miss(wheel, next, habit);
    const Fit fit = land(wheel, next, tick, spread, habit);
    next.cost += fit.firm_cost + fit.weak_cost;
    return next;
}

}  // namespace kurbel::decoding
