// One octave of the pyramid: the samples averaged by twos so many times, with its own turning points and crossings.
//
// Each level sees the same waves with half the noise power of the level below. Where a wave fills 10000 samples and drowns in
// noise, it stands clear a few levels up; the level on which a slope spans a handful of samples is the one to time edges on.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

namespace kurbel::signal {

/// A crossing of the middle level, before its time is known better than to a sample.
template <class Real>
struct Crossing {
    std::int64_t index = 0;   ///< first sample beyond the middle
    std::int64_t number = 0;  ///< counted from 1
    Real before = 0;          ///< the extreme that came before
    Real middle = 0;          ///< the level that was crossed
    bool rising = false;
};

template <class Real>
class Level {
  public:
    static constexpr int kRoom = 128;      ///< samples kept
    static constexpr int kCrossings = 32;  ///< crossings kept

    /// `strict`: a turn must stand above seven standard deviations of the noise, which is measured by second differences and
    /// therefore too high where a wave has fewer than 24 samples.
    void reset(bool strict) noexcept {
        *this = Level{};
        strict_ = strict;
    }

    /// Forgets samples, keeps what was learned of the waves; sample numbers start at 0 again.
    void rewind() noexcept {
        const Level old = *this;
        *this = Level{};
        strict_ = old.strict_;
        noise_ = old.noise_;
        swing_ = old.swing_;
        middle_ = old.middle_;
        base_ = old.base_;
        periods_ = old.periods_;
        interval_ = old.interval_;
        longest_ = old.longest_;
        slope_ = old.slope_;
        regular_ = old.regular_;
        dwell_ = old.dwell_;
        top_ = old.top_;
        bottom_ = old.bottom_;
        unlike_ = old.unlike_;
        floor_ = old.floor_;
        zero_based_ = old.zero_based_;
        cut_ = old.cut_;
        beside_ = old.beside_;
        number_ = 0;
        known_ = old.number_ > 8 || old.known_;
        update_reversal();
    }

    /// Takes a sample; true where a crossing was recorded.
    bool push(Real x) noexcept;

    [[nodiscard]] Real sample(std::int64_t index) const noexcept {
        const std::int64_t newest = count_ - 1;
        const std::int64_t oldest = std::max<std::int64_t>(0, count_ - kRoom);
        return ring_[static_cast<std::size_t>(std::clamp(index, oldest, newest)) % kRoom];
    }
    [[nodiscard]] std::int64_t count() const noexcept { return count_; }
    [[nodiscard]] std::int64_t crossings() const noexcept { return number_; }
    [[nodiscard]] const Crossing<Real>& crossing(std::int64_t number) const noexcept {
        return crossing_[static_cast<std::size_t>(number) % kCrossings];
    }
    [[nodiscard]] std::int64_t oldest_crossing() const noexcept {
        return std::max<std::int64_t>(1, number_ - kCrossings + 1);
    }

    /// Standard deviation of one sample's noise, by the median of second differences.
    [[nodiscard]] Real noise() const noexcept { return noise_ * Real(1 / (0.6745 * 2.4495)); }
    [[nodiscard]] Real swing() const noexcept { return swing_; }  ///< typical, peak to peak
    [[nodiscard]] Real interval() const noexcept {
        return interval_;
    }  ///< typical, samples from falling to falling crossing
    [[nodiscard]] Real slope() const noexcept {
        return slope_;
    }  ///< typical samples between the half heights of a slope
    [[nodiscard]] Real regular() const noexcept {
        return regular_;
    }                                                             ///< share of intervals that resemble the one before
    [[nodiscard]] Real dwell() const noexcept { return dwell_; }  ///< share of time spent near the two extremes
    /// The waves spend their time at two heights that are always the same.
    [[nodiscard]] bool two_levels() const noexcept {
        const Real noise = this->noise() / std::max(swing_, Real(1e-30));
        return dwell_ > Real(0.75) && unlike_ < Real(4e-4) + 16 * noise * noise;
    }
    /// Clamped on one side: the extremes stand at unequal distances from where the waves are as long above as below.
    [[nodiscard]] bool lopsided() const noexcept {
        // Of few samples a wave the highest lies below the crest, on each side by its own share of 1 - cos(pi / samples).
        const Real wave = interval();
        const Real coarse = wave > 0 ? Real(2.5) / (wave * wave) : Real(0);
        return std::fabs(middle_ - base_) > (Real(0.05) + coarse) * swing_;
    }
    /// A clamp may let so little of one half-wave through that the mean says nothing: then midway between the extremes, where the
    /// slopes are steep.
    [[nodiscard]] Real middle() const noexcept { return zero_based_ && !beside_ ? base_ : middle_; }
    /// Waves were seen lately.
    [[nodiscard]] bool alive() const noexcept {
        return (number_ >= 6 || known_) && static_cast<Real>(count_ - last_) < std::max(8 * longest_, Real(64));
    }
    /// Turns are told apart by the waves' own height and not by the noise.
    [[nodiscard]] bool clear() const noexcept { return kShare * swing_ >= kSigmas * noise(); }

    /// Swings below this are none; converter steps, told by the owner.
    void set_floor(Real floor) noexcept { floor_ = floor; }
    /// Edges lie at the mean of the waves (coil) instead of midway between the extremes.
    void set_zero_based(bool yes) noexcept {
        if (yes && !zero_based_ && periods_ == 0) base_ = middle_;
        zero_based_ = yes;
    }

    /// Waves that are cut off on one side have another mean; what lies nearer to the middle still is as often above as below it.
    void set_cut(bool yes) noexcept { cut_ = yes; }

  private:
    static constexpr std::int64_t kYoung = 12;  ///< samples before the noise can be told
    static constexpr Real kShare = Real(0.2);   ///< of the typical swing: a tooth beside a gap may be half as high
    static constexpr Real kSigmas = Real(7);    ///< of a difference of two: once in 10^6 samples
    static constexpr Real kNear = Real(0.3);    ///< of the swing from the middle: near the extremes

    void learn_noise(Real x) noexcept;
    void update_reversal() noexcept {
        reversal_ = std::max(kShare * swing_, floor_);
        if (strict_) reversal_ = std::max(reversal_, kSigmas * noise());
    }
    void fade() noexcept;
    void turn(bool maximum) noexcept;
    void look_for_crossing(bool just_turned) noexcept;
    void record(std::int64_t index) noexcept;
    void end_period(std::int64_t index) noexcept;

    std::array<Real, kRoom> ring_{};
    std::array<Crossing<Real>, kCrossings> crossing_{};
    std::int64_t count_ = 0;
    std::int64_t number_ = 0;
    std::int64_t last_ = 0;  ///< index of the last crossing
    std::int64_t last_falling_ = -1;
    std::int64_t high_at_ = 0;
    std::int64_t low_at_ = 0;
    Real high_ = 0;
    Real low_ = 0;
    Real noise_ = 0;  ///< median of the second differences' sizes
    Real swing_ = 0;
    Real middle_ = 0;
    Real base_ = 0;
    Real sum_ = 0;   ///< of clamped deviations since the last falling crossing
    Real near_ = 0;  ///< samples near the extremes since then
    Real interval_ = 0;
    Real longest_ = 0;
    Real previous_ = 0;    ///< interval before
    Real last_place_ = 0;  ///< fraction of the last falling crossing
    Real tail_ = 0;        ///< of the sum beyond the last falling crossing
    Real slope_ = 0;
    Real regular_ = 0;
    Real dwell_ = 0;
    Real top_ = 0;  ///< typical extremes
    Real bottom_ = 0;
    Real unlike_ = 0;  ///< mean square of the swings' relative differences from the typical one
    Real reversal_ = 0;
    Real floor_ = 0;
    std::int32_t periods_ = 0;
    std::int32_t outside_ = 0;  ///< half-waves in a row that do not reach over the middle
    bool strict_ = true;
    bool zero_based_ = false;
    bool cut_ = false;
    bool beside_ = false;    ///< the mean lies beside one of the extremes
    bool rising_ = true;     ///< the last turn was a minimum
    bool awaiting_ = false;  ///< a turn is behind, its crossing not
    bool known_ = false;
    bool turned_ = false;  ///< the first turn was seen
    bool faded_ = false;   ///< the typical swing faded in a silence
};

template <class Real>
void Level<Real>::learn_noise(Real x) noexcept {
    const Real size = std::fabs(x - 2 * sample(count_ - 1) + sample(count_ - 2));
    if (count_ < kYoung && !known_) {
        noise_ += (size - noise_) / static_cast<Real>(count_ - 1);
        return;
    }
    // A walk towards the median, by large steps first.
    const Real step = count_ < 8 * kYoung && !known_ ? Real(0.06) : Real(0.015);
    if (!(noise_ > 0)) noise_ = size;
    noise_ *= size > noise_ ? 1 + step : 1 - step;
}

template <class Real>
bool Level<Real>::push(Real x) noexcept {
    if (count_ >= 2) learn_noise(x);
    if (count_ == 0) {
        high_ = low_ = x;
        if (!known_) middle_ = base_ = x;
    }
    ring_[static_cast<std::size_t>(count_) % kRoom] = x;
    const std::int64_t at = count_++;
    if ((at & 15) == 0) fade();

    const Real middle = this->middle();
    const Real limit =
        cut_ ? std::min(Real(0.25) * swing_, Real(0.7) * std::min(top_ - base_, base_ - bottom_)) : swing_;
    const Real deviation = x - middle;
    if (limit > 0) sum_ += std::clamp(x - base_, -limit, limit);
    if (std::fabs(deviation) > kNear * swing_) near_ += 1;

    const std::int64_t before = number_;
    if (x > high_) {
        high_ = x;
        high_at_ = at;
    }
    if (x < low_) {
        low_ = x;
        low_at_ = at;
    }
    if (count_ < kYoung) return false;
    if (!turned_) {
        // The first extreme that is left behind says which way the signal goes.
        if (high_ - x >= reversal_ && high_at_ > low_at_ && reversal_ > 0) {
            turned_ = true;
            rising_ = true;
        } else if (x - low_ >= reversal_ && low_at_ > high_at_ && reversal_ > 0) {
            turned_ = true;
            rising_ = false;
        }
    }
    if (!turned_) return false;
    if (rising_ && high_ - x >= reversal_) {
        turn(true);
        low_ = x;
        low_at_ = at;
    } else if (!rising_ && x - low_ >= reversal_) {
        turn(false);
        high_ = x;
        high_at_ = at;
    } else if (awaiting_) {
        look_for_crossing(false);
    }
    return number_ != before;
}

/// Without waves the memory of their height goes down, until the noise or the next, lower waves hold it.
template <class Real>
void Level<Real>::fade() noexcept {
    const Real silence = static_cast<Real>(count_ - std::max(last_, std::max(high_at_, low_at_)));
    if (silence > std::max(4 * longest_, Real(256))) {
        swing_ *= Real(0.97);
        faded_ = true;
    }
    update_reversal();
}

template <class Real>
void Level<Real>::turn(bool maximum) noexcept {
    const Real swing = high_ - low_;
    // What a silence has made fade, or noise before the first waves left, is no memory of these: pulses that are rare beside their length,
    // as a cam's, would seem to grow.
    constexpr std::int32_t kFewPeriods = 32;
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
        top_ = high_;
        bottom_ = low_;
        middle_ = Real(0.5) * (high_ + low_);
        if (periods_ == 0) base_ = middle_;
    } else {
        const Real change = (swing - swing_) / swing_;
        unlike_ += Real(1.0 / 64) * (std::min(change * change, Real(1)) - unlike_);
        swing_ += Real(0.125) * (std::min(swing, 2 * swing_) - swing_);
        top_ += Real(0.125) * (high_ - top_);
        bottom_ += Real(0.125) * (low_ - bottom_);
        middle_ += Real(0.125) * (Real(0.5) * (high_ + low_) - middle_);
    }
    // Waves that stand beside the middle never cross it: the middle has been left behind.
    const Real level = this->middle();
    outside_ = level > low_ && level < high_ ? 0 : outside_ + 1;
    if (outside_ > 3) {
        base_ = middle_ = Real(0.5) * (high_ + low_);
        top_ = high_;
        bottom_ = low_;
        periods_ = std::min(periods_, std::int32_t{4});
        outside_ = 0;
    }
    update_reversal();
    rising_ = !maximum;
    awaiting_ = true;
    look_for_crossing(true);
}

template <class Real>
void Level<Real>::look_for_crossing(bool just_turned) noexcept {
    const Real middle = this->middle();
    const bool falling = !rising_;
    const auto beyond = [&](std::int64_t index) { return falling ? sample(index) < middle : sample(index) >= middle; };
    const std::int64_t now = count_ - 1;
    if (!beyond(now)) return;
    std::int64_t index = now;
    if (just_turned) {
        const std::int64_t extreme = std::max(falling ? high_at_ : low_at_, count_ - kRoom);
        while (index > extreme && beyond(index - 1)) --index;
        // The whole half-wave stays on one side of the middle: nothing is crossed.
        if (index <= extreme) {
            awaiting_ = false;
            return;
        }
    }
    awaiting_ = false;
    record(index);
}

template <class Real>
void Level<Real>::record(std::int64_t index) noexcept {
    Crossing<Real>& one = crossing_[static_cast<std::size_t>(++number_) % kCrossings];
    one.index = index;
    one.number = number_;
    one.rising = rising_;
    one.before = rising_ ? low_ : high_;
    one.middle = middle();
    last_ = index;
    // Steepness over three samples; half heights lie half a swing apart.
    const Real steep = std::fabs(sample(index + 1) - sample(index - 2)) / 3;
    const Real span = steep > 0 ? std::min(Real(0.5) * swing_ / steep, Real(1e6)) : Real(1e6);
    slope_ = slope_ > 0 ? slope_ + Real(0.125) * (std::min(span, 4 * slope_) - slope_) : span;
    if (!rising_) end_period(index);
}

template <class Real>
void Level<Real>::end_period(std::int64_t index) noexcept {
    const Real drop = sample(index - 1) - sample(index);
    const Real place = drop > 0 ? (sample(index - 1) - middle()) / drop : Real(0);
    // The sum ends between two samples, the period at the crossing: what lies between them.
    const Real beyond = Real(0.5) - place;
    const Real tail = Real(-0.5) * drop * beyond * beyond * (beyond < 0 ? Real(-1) : Real(1));
    if (last_falling_ >= 0) {
        const auto samples = static_cast<Real>(index - last_falling_);
        const Real interval = samples + place - last_place_;
        interval_ =
            interval_ > 0 ? interval_ + Real(0.125) * (std::min(interval, 2 * interval_) - interval_) : interval;
        longest_ = std::max(interval, longest_ - Real(0.02) * (longest_ - interval_));
        if (previous_ > 0) {
            const bool alike = interval < Real(1.34) * previous_ && previous_ < Real(1.34) * interval;
            regular_ += (strict_ ? Real(1.0 / 16) : Real(1.0 / 64)) * ((alike ? Real(1) : Real(0)) - regular_);
        }
        previous_ = interval;
        // The flux through a coil is the same at the same place of every tooth, so that the voltage's mean from one edge to the
        // next is the middle.
        if (samples > 0) {
            if (periods_ < 64) ++periods_;
            // Over the typical distance, so that what one period's rounded ends add the next one's take away.
            base_ += (sum_ - tail + tail_) / interval_ / static_cast<Real>(periods_);
            dwell_ += (near_ / samples - dwell_) / static_cast<Real>(std::min(periods_, std::int32_t{16}));
        }
    }
    const Real nearer = std::min(top_ - base_, base_ - bottom_);
    if (nearer < Real(0.15) * swing_) beside_ = true;
    if (nearer > Real(0.25) * swing_) beside_ = false;
    last_falling_ = index;
    last_place_ = place;
    tail_ = tail;
    sum_ = 0;
    near_ = 0;
}

}  // namespace kurbel::signal
