// The pyramid of octaves, and which of them edges are timed on.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>

#include "kurbel/signal/level.hpp"

namespace kurbel::signal {

/// Each octave averages the samples of the one below by twos. On each, waves are told from noise by their turning points; the finest octave on which
/// they stand clear, and on which a slope spans a handful of samples, is the active one. Beside them stands octave 0 without the
/// noise's say, for waves of few samples, whose noise cannot be told.
template <class Real>
class Octaves {
  public:
    static constexpr int kLevels = 18;     ///< the coarsest averages 131072 samples
    static constexpr int kFast = kLevels;  ///< octave 0 without the noise's say

    void reset() noexcept {
        *this = Octaves{};
        for (int i = 0; i <= kLevels; ++i) level_[index(i)].reset(i != kFast);
    }

    /// Back to sample 0 with what was learned of the waves.
    void rewind() noexcept {
        for (Level<Real>& level : level_) level.rewind();
        has_half_ = {};
    }

    /// Takes a sample; true where the active octave, or another, may have something new.
    bool push(Real x) noexcept {
        const bool fast_news = level_[kFast].push(x);
        bool news = active_ == kFast || fast_news;
        for (int i = 0; i < kLevels; ++i) {
            if (level_[index(i)].push(x) || i == active_) news = true;
            if (!has_half_[index(i)]) {
                half_[index(i)] = x;
                has_half_[index(i)] = true;
                break;
            }
            x = Real(0.5) * (half_[index(i)] + x);
            has_half_[index(i)] = false;
        }
        return news;
    }

    /// See Level; for all of them.
    void set_zero_based(bool yes) noexcept {
        for (Level<Real>& level : level_) level.set_zero_based(yes);
    }
    /// `floor`: see Level; `clipped`: waves end flat at the range's end.
    void set_limits(Real floor, bool clipped) noexcept {
        for (Level<Real>& level : level_) {
            level.set_floor(floor);
            level.set_cut(clipped || level.lopsided());
        }
    }

    [[nodiscard]] const Level<Real>& operator[](int level) const noexcept { return level_[index(level)]; }
    /// Number of the active octave, -1 where there is none yet.
    [[nodiscard]] int active() const noexcept { return active_; }
    [[nodiscard]] const Level<Real>* active_level() const noexcept {
        return active_ < 0 ? nullptr : &level_[index(active_)];
    }
    void activate(int level) noexcept { active_ = level; }

    /// So many of a level's own samples, in samples of the signal.
    [[nodiscard]] static double samples_of(int level, double own) noexcept {
        const double width = static_cast<double>(std::int64_t{1} << (level == kFast ? 0 : level));
        return own * width;
    }

    /// The octave whose slopes span a handful of samples, among those on which the waves stand clear of the noise; the active one where none
    /// is better.
    [[nodiscard]] int choose() const noexcept {
        const int best = few_samples_a_wave() ? kFast : among_octaves();
        if (best < 0 || best == active_) return active_;
        // Two neighbours may do equally well: no need to change.
        if (active_ >= 0 && active_ != kFast && best != kFast) {
            const Level<Real>& now = level_[index(active_)];
            const bool fits = now.slope() > Real(0.45) * kManySamples && now.slope() < Real(1.25) * kManySamples;
            if (now.alive() && now.clear() && fits) return active_;
        }
        return best;
    }

  private:
    static constexpr Real kManySamples = Real(12);  ///< a slope longer than this is timed an octave up
    static constexpr Real kRegular = Real(0.72);    ///< share of intervals like the one before that teeth have at least
    static constexpr Real kStandsOut = Real(12);    ///< swing over noise of waves that are no noise

    [[nodiscard]] static constexpr std::size_t index(int i) noexcept { return static_cast<std::size_t>(i); }

    /// Waves of few samples: regular, and higher than anything slower that they may be the noise upon.
    [[nodiscard]] bool few_samples_a_wave() const noexcept {
        const Level<Real>& fast = level_[kFast];
        Real highest_clear = 0;
        for (int i = 0; i < kLevels; ++i) {
            const Level<Real>& level = level_[index(i)];
            if (level.alive() && level.clear()) highest_clear = std::max(highest_clear, level.swing());
        }
        return fast.alive() && fast.regular() > kRegular && fast.interval() < Real(32) &&
               fast.swing() > Real(0.6) * highest_clear;
    }

    [[nodiscard]] int among_octaves() const noexcept {
        // Spikes stand clear as well; teeth are more frequent than they.
        double most = 0.0;
        for (int i = 0; i < kLevels; ++i)
            if (has_clear_waves(i)) most = std::max(most, rate(i));
        int best = -1;
        for (int i = 0; i < kLevels && best < 0 && most > 0.0; ++i)
            if (has_clear_waves(i) && rate(i) > 0.7 * most) best = i;
        // Nothing is clear: the waves that stand highest above the noise, if they come as regularly as teeth.
        Real highest = kStandsOut;
        for (int i = 0; i < kLevels && most == 0.0; ++i) {
            const Level<Real>& level = level_[index(i)];
            if (!level.alive() || level.regular() < kRegular || !(level.swing() > highest * level.noise())) continue;
            highest = level.swing() / level.noise();
            best = i;
        }
        while (best >= 0 && best + 1 < kLevels && level_[index(best)].slope() > kManySamples &&
               level_[index(best + 1)].alive())
            ++best;
        return best;
    }

    [[nodiscard]] bool has_clear_waves(int i) const noexcept {
        const Level<Real>& level = level_[index(i)];
        return level.alive() && level.clear() && level.interval() > 0;
    }
    /// Waves a sample of the signal.
    [[nodiscard]] double rate(int i) const noexcept {
        return 1.0 / samples_of(i, static_cast<double>(level_[index(i)].interval()));
    }

    std::array<Level<Real>, kLevels + 1> level_{};
    std::array<Real, kLevels> half_{};  ///< first of a pair that waits for the second
    std::array<bool, kLevels> has_half_{};
    std::int32_t active_ = -1;
};

}  // namespace kurbel::signal
