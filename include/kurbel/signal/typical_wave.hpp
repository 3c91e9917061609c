// What the waves of a signal are like: how high, how long, how steep, how regular, and where their middle lies.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace kurbel::signal {

/// Follows typical values from wave to wave. A wave lasts from one falling crossing of the middle to the next.
template <class Real>
class TypicalWave {
  public:
    /// Keeps what is typical, forgets the wave that was under way.
    void rewind() noexcept {
        previous_ = 0;
        last_place_ = 0;
        tail_ = 0;
        sum_ = 0;
        near_ = 0;
        outside_ = 0;
        faded_ = false;
    }

    /// The first sample, where nothing is known.
    void begin_at(Real x) noexcept { middle_ = base_ = x; }

    /// Takes a sample.
    void add(Real x) noexcept {
        const Real limit =
            cut_ ? std::min(Real(0.25) * swing_, Real(0.7) * std::min(top_ - base_, base_ - bottom_)) : swing_;
        const Real deviation = x - middle();
        if (limit > 0) sum_ += std::clamp(x - base_, -limit, limit);
        if (std::fabs(deviation) > kNear * swing_) near_ += 1;
    }

    /// Takes the extremes of a half-wave.
    void turn(Real high, Real low) noexcept {
        learn_height(high, low);
        // Waves that stand beside the middle never cross it: the middle has been left behind.
        const Real level = middle();
        outside_ = level > low && level < high ? 0 : outside_ + 1;
        if (outside_ <= kMostOutside) return;
        stand_at(high, low);
        base_ = middle_;
        periods_ = std::min(periods_, std::int32_t{4});
        outside_ = 0;
    }

    /// Takes the samples that half a typical swing takes by the steepness at a crossing.
    void add_slope(Real samples) noexcept {
        slope_ = slope_ > 0 ? slope_ + kGain * (std::min(samples, 4 * slope_) - slope_) : samples;
    }

    /// A falling crossing `samples` after the last one (0: the first), at the share `place` of the way between two samples that lie
    /// `drop` apart. `strict`: see Level.
    void end_period(std::int64_t samples, Real place, Real drop, bool strict) noexcept {
        // The sum ends between two samples, the period at the crossing: what lies between them.
        const Real beyond = Real(0.5) - place;
        const Real tail = Real(-0.5) * drop * beyond * beyond * (beyond < 0 ? Real(-1) : Real(1));
        if (samples > 0) {
            learn_length(static_cast<Real>(samples) + place - last_place_, strict);
            // The flux through a coil is the same at the same place of every tooth, so that the voltage's mean from one edge to the
            // next is the middle.
            if (periods_ < 64) ++periods_;
            // Over the typical distance, so that what one period's rounded ends add the next one's take away.
            base_ += (sum_ - tail + tail_) / interval_ / static_cast<Real>(periods_);
            dwell_ +=
                (near_ / static_cast<Real>(samples) - dwell_) / static_cast<Real>(std::min(periods_, std::int32_t{16}));
        }
        const Real nearer = std::min(top_ - base_, base_ - bottom_);
        if (nearer < Real(0.15) * swing_) beside_ = true;
        if (nearer > Real(0.25) * swing_) beside_ = false;
        last_place_ = place;
        tail_ = tail;
        sum_ = 0;
        near_ = 0;
    }

    /// Without waves the memory of their height goes down, until the noise or the next, lower waves hold it. `silence`: samples.
    void fade(Real silence) noexcept {
        if (!(silence > std::max(4 * longest_, Real(256)))) return;
        swing_ *= Real(0.97);
        faded_ = true;
    }

    /// Edges lie at the mean of the waves (coil) instead of midway between the extremes.
    void set_zero_based(bool yes) noexcept {
        if (yes && !zero_based_ && periods_ == 0) base_ = middle_;
        zero_based_ = yes;
    }
    /// Waves that are cut off on one side have another mean; what lies nearer to the middle still is as often above as below it.
    void set_cut(bool yes) noexcept { cut_ = yes; }

    [[nodiscard]] Real swing() const noexcept { return swing_; }        ///< peak to peak
    [[nodiscard]] Real interval() const noexcept { return interval_; }  ///< samples from falling to falling crossing
    [[nodiscard]] Real longest() const noexcept { return longest_; }    ///< of the intervals lately
    [[nodiscard]] Real slope() const noexcept { return slope_; }        ///< samples between the half heights of a slope
    [[nodiscard]] Real regular() const noexcept {
        return regular_;
    }                                                             ///< share of intervals that resemble the one before
    [[nodiscard]] Real dwell() const noexcept { return dwell_; }  ///< share of time spent near the two extremes
    /// A clamp may let so little of one half-wave through that the mean says nothing: then midway between the extremes, where the
    /// slopes are steep.
    [[nodiscard]] Real middle() const noexcept { return zero_based_ && !beside_ ? base_ : middle_; }

    /// The waves spend their time at two heights that are always the same; `noise`: standard deviation of a sample.
    [[nodiscard]] bool two_levels(Real noise) const noexcept {
        const Real share = noise / std::max(swing_, Real(1e-30));
        return dwell_ > Real(0.75) && unlike_ < Real(4e-4) + 16 * share * share;
    }
    /// Clamped on one side: the extremes stand at unequal distances from where the waves are as long above as below.
    [[nodiscard]] bool lopsided() const noexcept {
        // Of few samples a wave the highest lies below the crest, on each side by its own share of 1 - cos(pi / samples).
        const Real coarse = interval_ > 0 ? Real(2.5) / (interval_ * interval_) : Real(0);
        return std::fabs(middle_ - base_) > (Real(0.05) + coarse) * swing_;
    }

  private:
    static constexpr Real kNear = Real(0.3);    ///< of the swing from the middle: near the extremes
    static constexpr Real kGain = Real(0.125);  ///< memory of eight waves
    static constexpr int kMostOutside = 3;      ///< half-waves
    static constexpr std::int32_t kFewPeriods = 32;

    void stand_at(Real high, Real low) noexcept {
        top_ = high;
        bottom_ = low;
        middle_ = Real(0.5) * (high + low);
    }

    void learn_height(Real high, Real low) noexcept {
        const Real swing = high - low;
        // What a silence has made fade, or noise before the first waves left, is no memory of these: pulses that are rare beside their
        // length, as a cam's, would seem to grow.
        const bool young = periods_ < kFewPeriods;
        const bool anew = !(swing_ > 0) || ((faded_ || young) && swing > 2 * swing_);
        faded_ = false;
        if (anew) {
            if (young) {
                periods_ = 0;
                interval_ = 0;
            }
            unlike_ = 0;
            swing_ = swing;
            stand_at(high, low);
            if (periods_ == 0) base_ = middle_;
            return;
        }
        const Real change = (swing - swing_) / swing_;
        unlike_ += Real(1.0 / 64) * (std::min(change * change, Real(1)) - unlike_);
        swing_ += kGain * (std::min(swing, 2 * swing_) - swing_);
        top_ += kGain * (high - top_);
        bottom_ += kGain * (low - bottom_);
        middle_ += kGain * (Real(0.5) * (high + low) - middle_);
    }

    void learn_length(Real interval, bool strict) noexcept {
        interval_ = interval_ > 0 ? interval_ + kGain * (std::min(interval, 2 * interval_) - interval_) : interval;
        longest_ = std::max(interval, longest_ - Real(0.02) * (longest_ - interval_));
        if (previous_ > 0) {
            const bool alike = interval < Real(1.34) * previous_ && previous_ < Real(1.34) * interval;
            regular_ += (strict ? Real(1.0 / 16) : Real(1.0 / 64)) * ((alike ? Real(1) : Real(0)) - regular_);
        }
        previous_ = interval;
    }

    Real swing_ = 0;
    Real top_ = 0;  ///< typical extremes
    Real bottom_ = 0;
    Real middle_ = 0;  ///< midway between them
    Real base_ = 0;    ///< mean of the waves
    Real unlike_ = 0;  ///< mean square of the swings' relative differences from the typical one
    Real interval_ = 0;
    Real longest_ = 0;
    Real previous_ = 0;  ///< interval before
    Real slope_ = 0;
    Real regular_ = 0;
    Real dwell_ = 0;
    Real sum_ = 0;         ///< of clamped deviations since the last falling crossing
    Real near_ = 0;        ///< samples near the extremes since then
    Real last_place_ = 0;  ///< fraction of the last falling crossing
    Real tail_ = 0;        ///< of the sum beyond the last falling crossing
    std::int32_t periods_ = 0;
    std::int32_t outside_ = 0;  ///< half-waves in a row that do not reach over the middle
    bool zero_based_ = false;
    bool cut_ = false;
    bool beside_ = false;  ///< the mean lies beside one of the extremes
    bool faded_ = false;   ///< the typical swing faded in a silence
};

}  // namespace kurbel::signal
