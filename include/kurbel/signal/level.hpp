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

#include "kurbel/signal/typical_wave.hpp"

namespace kurbel::signal {

/// A crossing of the middle level, before its time is known better than to a sample.
template <class Real>
struct Crossing {
    std::int64_t index = 0;  ///< first sample beyond the middle
    Real before = 0;         ///< the extreme that came before
    Real middle = 0;         ///< the level that was crossed
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
        reset(old.strict_);
        noise_ = old.noise_;
        wave_ = old.wave_;
        wave_.rewind();
        floor_ = old.floor_;
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
    // See TypicalWave.
    [[nodiscard]] Real swing() const noexcept { return wave_.swing(); }
    [[nodiscard]] Real interval() const noexcept { return wave_.interval(); }
    [[nodiscard]] Real slope() const noexcept { return wave_.slope(); }
    [[nodiscard]] Real regular() const noexcept { return wave_.regular(); }
    [[nodiscard]] Real dwell() const noexcept { return wave_.dwell(); }
    [[nodiscard]] Real middle() const noexcept { return wave_.middle(); }
    [[nodiscard]] bool two_levels() const noexcept { return wave_.two_levels(noise()); }
    [[nodiscard]] bool lopsided() const noexcept { return wave_.lopsided(); }
    /// Waves were seen lately.
    [[nodiscard]] bool alive() const noexcept {
        return (number_ >= 6 || known_) && static_cast<Real>(count_ - last_) < std::max(8 * wave_.longest(), Real(64));
    }
    /// Turns are told apart by the waves' own height and not by the noise.
    [[nodiscard]] bool clear() const noexcept { return kShare * swing() >= kSigmas * noise(); }

    /// Swings below this are none; converter steps, told by the owner.
    void set_floor(Real floor) noexcept { floor_ = floor; }
    // See TypicalWave.
    void set_zero_based(bool yes) noexcept { wave_.set_zero_based(yes); }
    void set_cut(bool yes) noexcept { wave_.set_cut(yes); }

  private:
    static constexpr std::int64_t kYoung = 12;  ///< samples before the noise can be told
    static constexpr Real kShare = Real(0.2);   ///< of the typical swing: a tooth beside a gap may be half as high
    static constexpr Real kSigmas = Real(7);    ///< of a difference of two: once in 10^6 samples

    void learn_noise(Real x) noexcept;
    void update_reversal() noexcept {
        reversal_ = std::max(kShare * swing(), floor_);
        if (strict_) reversal_ = std::max(reversal_, kSigmas * noise());
    }
    void turn(bool maximum) noexcept;
    void look_for_crossing(bool just_turned) noexcept;
    void record(std::int64_t index) noexcept;

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
    Real reversal_ = 0;
    Real floor_ = 0;
    TypicalWave<Real> wave_{};
    bool strict_ = true;
    bool rising_ = true;     ///< the last turn was a minimum
    bool awaiting_ = false;  ///< a turn is behind, its crossing not
    bool known_ = false;
    bool turned_ = false;  ///< the first turn was seen
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
        if (!known_) wave_.begin_at(x);
    }
    ring_[static_cast<std::size_t>(count_) % kRoom] = x;
    const std::int64_t at = count_++;
    if ((at & 15) == 0) {
        wave_.fade(static_cast<Real>(count_ - std::max(last_, std::max(high_at_, low_at_))));
        update_reversal();
    }
    wave_.add(x);
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

template <class Real>
void Level<Real>::turn(bool maximum) noexcept {
    wave_.turn(high_, low_);
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
    one.rising = rising_;
    one.before = rising_ ? low_ : high_;
    one.middle = middle();
    last_ = index;
    // Steepness over three samples; half heights lie half a swing apart.
    const Real steep = std::fabs(sample(index + 1) - sample(index - 2)) / 3;
    wave_.add_slope(steep > 0 ? std::min(Real(0.5) * swing() / steep, Real(1e6)) : Real(1e6));
    if (rising_) return;
    const Real drop = sample(index - 1) - sample(index);
    const Real place = drop > 0 ? (sample(index - 1) - one.middle) / drop : Real(0);
    wave_.end_period(last_falling_ >= 0 ? index - last_falling_ : 0, place, drop, strict_);
    last_falling_ = index;
}

}  // namespace kurbel::signal
