// What the decoder needs to know of a trigger wheel, worked out once: spans, weak teeth, symmetry, distance to a gap.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/core/config.hpp"

namespace kurbel::decoding {

/// Spans and properties of the teeth of one wheel. The wheel may repeat itself within a revolution (a plain ring gear
/// does so at every tooth); then only the first `period` teeth can be told apart by the wheel alone.
struct WheelTable {
    int teeth = 0;
    int period = 1;     ///< teeth after which the pattern repeats; `teeth` where it does so only after a revolution
    int rotations = 1;  ///< teeth / period

    std::array<float, kMaxTeeth> angle_deg{};  ///< tooth angles as configured
    std::array<float, kMaxTeeth> span_deg{};   ///< crank degrees from tooth i to the next one

    /// Teeth beside a gap of a fine wheel are weak: on inductive sensors their edge can move by a good part of a pitch
    /// or vanish. They are given out like any other but the speed is not measured from them.
    /// Coarser wheels' teeth give the speed, too, but the one after a gap may stand off now and then: it is faint.
    std::array<std::uint8_t, kMaxTeeth> weak{};  ///< kWeak, kFaint or 0
    bool has_weak = false;
    static constexpr std::uint8_t kWeak = 1;
    static constexpr std::uint8_t kFaint = 2;
    /// No span is clearly longer than its neighbours (unequal vanes): the swing of the speed can look like the pattern.
    bool low_contrast = false;
    float weak_pitch_deg = 1.0F;  ///< pitch that displacements of weak teeth are measured in: the smallest beside one
    std::array<std::uint8_t, kMaxTeeth> near_gap{};  ///< a change of pitch is within a few teeth: 3 = ahead, 1 = behind

    std::array<float, kMaxTeeth> reach_deg{};     ///< from the last firm tooth before i to i
    std::array<float, kMaxTeeth> sure_inverse{};  ///< 1 / degrees from that firm tooth to tooth i + 1
    std::array<float, kMaxTeeth> sure_width{};    ///< how far tooth i + 1 may deviate and still be beyond doubt

    [[nodiscard]] int next(int tooth) const noexcept { return tooth + 1 == teeth ? 0 : tooth + 1; }
    [[nodiscard]] int previous(int tooth) const noexcept { return tooth == 0 ? teeth - 1 : tooth - 1; }
    [[nodiscard]] float span(int tooth) const noexcept { return span_deg[static_cast<std::size_t>(tooth)]; }
    [[nodiscard]] bool is_weak(int tooth) const noexcept { return weak[static_cast<std::size_t>(tooth)] == kWeak; }
    [[nodiscard]] bool is_faint(int tooth) const noexcept { return weak[static_cast<std::size_t>(tooth)] == kFaint; }
    /// The smaller of the two spans beside a tooth: the pitch that its displacement is measured in.
    [[nodiscard]] float pitch(int tooth) const noexcept { return std::min(span(tooth), span(previous(tooth))); }

    /// The edges from `tooth` on soon show a change of pitch.
    [[nodiscard]] bool gap_ahead(int tooth) const noexcept { return near_gap[static_cast<std::size_t>(tooth)] > 1; }

    /// Degrees by which `tooth` is usually reached: from the last firm tooth before it.
    [[nodiscard]] float sure_span(int tooth) const noexcept { return reach_deg[static_cast<std::size_t>(tooth)]; }

    void build(const WheelConfig& wheel) noexcept;

  private:
    void build_spans(const WheelConfig& wheel) noexcept;
    void find_period() noexcept;
    void find_weak() noexcept;
    void find_near_gap() noexcept;
    void build_anchors() noexcept;
};

/// Where a wheel has at least this many teeth a revolution (36-1 and finer), a gap is an air gap that upsets an
/// inductive sensor's signal at the teeth beside it. Coarser wheels are lugs or vanes, which have no such neighbours.
inline constexpr float kFinePitchDeg = 10.5F;
/// Where they stand wider apart than on a 24-1 wheel, a swing of the speed while cranking looks the same as a first tooth that
/// vanished or stands off.
inline constexpr float kFaintPitchDeg = 16.0F;
/// A span this much longer than the pitch beside it is a gap.
inline constexpr float kGapRatio = 1.7F;
/// Spans of less contrast than this are unequal vanes rather than gaps.
inline constexpr float kContrast = 1.6F;
/// A tooth is near a change of pitch if one lies within so many teeth.
inline constexpr int kNearGapTeeth = 5;
/// Deviation (about that of a ratio from 1) below which an ordinary tooth is beyond doubt. An extra edge splits a span
/// into f and 1 - f, a missed one doubles it: neither keeps two successive ratios within this.
inline constexpr float kSureWidth = 0.25F;
/// Standard deviation of a weak tooth's edge, in pitches: measured gaps of 3.2 to 3.5 instead of 3 pitches are common
/// (practice with inductive sensors, no source), a whole pitch is not.
inline constexpr float kWeakPitch = 0.25F;

inline void WheelTable::build(const WheelConfig& wheel) noexcept {
    build_spans(wheel);
    find_period();
    find_weak();
    find_near_gap();
    build_anchors();
}

inline void WheelTable::build_spans(const WheelConfig& wheel) noexcept {
    teeth = wheel.teeth;
    angle_deg = wheel.angle_deg;
    for (int i = 0; i < teeth; ++i) {
        const auto here = static_cast<std::size_t>(i);
        const auto after = static_cast<std::size_t>(next(i));
        float span = angle_deg[after] - angle_deg[here];
        if (i + 1 == teeth) span += 360.0F;
        // Places of even wheels are multiples of a fraction that float cannot hold; give equal spans equal bits.
        if (wheel.positions > 0) {
            const auto pitch = 360.0 / wheel.positions;
            span = static_cast<float>(std::round(static_cast<double>(span) / pitch) * pitch);
        }
        span_deg[here] = span;
    }
}

inline void WheelTable::find_period() noexcept {
    for (period = 1; period < teeth; ++period) {
        if (teeth % period != 0) continue;
        bool repeats = true;
        for (int i = 0; i < teeth && repeats; ++i) {
            const float a = span(i);
            const float b = span((i + period) % teeth);
            repeats = std::fabs(a - b) <= 0.01F * std::min(a, b);
        }
        if (repeats) break;
    }
    rotations = teeth / period;
}

inline void WheelTable::find_weak() noexcept {
    weak.fill(0);
    for (int i = 0; i < teeth; ++i) {
        const float before = span(previous(i));
        const float after = span(next(i));
        const float pitch_deg = std::min(before, after);
        if (pitch_deg > kFaintPitchDeg || span(i) < kGapRatio * pitch_deg) continue;
        const bool fine = pitch_deg <= kFinePitchDeg;
        if (fine && span(i) >= kGapRatio * before) weak[static_cast<std::size_t>(i)] = kWeak;
        if (span(i) >= kGapRatio * after) weak[static_cast<std::size_t>(next(i))] = fine ? kWeak : kFaint;
    }
    // The speed must be measured from somewhere: a wheel of isolated teeth has no weak ones.
    const auto count = std::count_if(weak.begin(), weak.begin() + teeth, [](std::uint8_t kind) { return kind != 0; });
    if (2 * count > teeth) weak.fill(0);
    has_weak = std::count(weak.begin(), weak.begin() + teeth, kWeak) > 0;
    weak_pitch_deg = kFaintPitchDeg;
    for (int i = 0; i < teeth; ++i)
        if (is_weak(i) || is_faint(i)) weak_pitch_deg = std::min(weak_pitch_deg, pitch(i));
}

inline void WheelTable::find_near_gap() noexcept {
    near_gap.fill(0);
    low_contrast = period > 1;
    for (int i = 0; i < teeth; ++i) {
        const float a = span(i);
        const float b = span(next(i));
        if (std::max(a, b) >= kContrast * std::min(a, b)) low_contrast = false;
        if (std::max(a, b) < 1.3F * std::min(a, b)) continue;
        for (int k = 1 - kNearGapTeeth; k <= kNearGapTeeth; ++k) {
            std::uint8_t& near = near_gap[static_cast<std::size_t>((i + k + kNearGapTeeth * teeth) % teeth)];
            if (k <= 1)
                near = 3;
            else if (near == 0)
                near = 1;
        }
    }
}

inline void WheelTable::build_anchors() noexcept {
    int firm = 0;
    while (firm < teeth - 1 && is_weak(firm)) ++firm;
    float from_firm = 0.0F;
    for (int k = 0; k < teeth; ++k) {
        const int tooth = (firm + k) % teeth;
        const auto here = static_cast<std::size_t>(tooth);
        if (!is_weak(tooth)) from_firm = 0.0F;
        from_firm += span(tooth);
        const int target = next(tooth);
        reach_deg[static_cast<std::size_t>(target)] = from_firm;
        sure_inverse[here] = 1.0F / from_firm;
        // A tooth more or less must lie well outside, and a weak tooth's place leaves yet less room.
        const float one_more = span(target) / (from_firm + 0.5F * span(target));
        float width = std::min(kSureWidth, 0.4F * one_more);
        if (is_weak(target)) width = std::min(width, 0.35F * pitch(target) / from_firm);
        sure_width[here] = width;
    }
}

}  // namespace kurbel::decoding
