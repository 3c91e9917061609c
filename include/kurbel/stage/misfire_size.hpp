// What a misfire of this engine reads as: how much of the work, by the measure that its own misfires have shown.
#pragma once

#include <algorithm>
#include <cmath>

namespace kurbel {

/// Density of `value`, measured with this standard deviation, of what may be anything between `from` and `to`; beyond the middle of the two
/// as in the middle, for more than everything is no less.
template <class Real>
[[nodiscard]] Real density_of_range(Real value, Real from, Real to, Real deviation) noexcept {
    const Real at = std::min(value, Real(0.5) * (from + to));
    const Real scale = Real(0.70710678) / deviation;
    return Real(0.5) * (std::erfc((from - at) * scale) - std::erfc((to - at) * scale)) / (to - from);
}

/// Density of the measured loss of a misfire: "all of it" or "any share from a half to a little more than all". Both scale with the
/// size that a whole loss is measured as: 1 where the expected work is right, half of that where it is twice too large (a cold
/// engine whose load channel promises more than the late spark delivers). Share and size are learned from firings by their
/// probability (expectation-maximisation of a mixture: Dempster, Laird and Rubin, J. R. Stat. Soc. B 39:1-38, 1977).
template <class Real>
class MisfireSize {
  public:
    void begin() noexcept { *this = MisfireSize{}; }

    /// `deviation`: of measurement and healthy scatter.
    [[nodiscard]] Real density(Real lost, Real deviation) const noexcept {
        return whole_share_ * whole(lost, deviation) + (Real(1) - whole_share_) * any(lost, deviation);
    }

    /// Learns from a firing that was a misfire with this probability.
    void learn(Real lost, Real deviation, Real probability) noexcept {
        const Real total = density(lost, deviation);
        if (!(total > Real(1e-20))) return;
        seen_ = std::min(seen_ + probability, kMemory);
        const Real share = whole_share_ * whole(lost, deviation) / total;
        whole_share_ += probability / (seen_ + kShareFirings) * (share - whole_share_);
        // A quantile by stochastic approximation: where some misfires are partial, whole ones are the upper part.
        const Real step = Real(2) * probability / (seen_ + kSizeFirings);
        size_ *= Real(1) + step * (lost > size_ ? kUpperPart : kUpperPart - Real(1));
        size_ = std::clamp(size_, kSmallest, kLargest);
    }

    /// Whether misfires have shown it.
    [[nodiscard]] bool known() const noexcept { return seen_ > kSizeFirings; }
    /// The least that a loss of half of the work may read as, by a measure that is right to a tenth; near `guess` while misfires have
    /// not shown what a whole one reads as.
    [[nodiscard]] Real half(Real guess) const noexcept {
        const Real least = kHalf * (Real(1) - kSizeError) * size_;
        return (seen_ * least + kSizeFirings * guess) / (seen_ + kSizeFirings);
    }
    /// What a whole loss reads as.
    [[nodiscard]] Real size() const noexcept { return size_; }

  private:
    static constexpr Real kMemory = Real(100);
    static constexpr Real kShareFirings = Real(10);
    static constexpr Real kSizeFirings = Real(5);
    static constexpr Real kUpperPart = Real(0.6);
    static constexpr Real kSizeError = Real(0.1);  // from firing to firing
    static constexpr Real kSmallest = Real(0.4);
    static constexpr Real kLargest = Real(1.5);
    static constexpr Real kHalf = Real(0.5);
    static constexpr Real kMost = Real(1.2);

    [[nodiscard]] Real whole(Real lost, Real deviation) const noexcept {
        constexpr Real kPerRootTwoPi = Real(0.398942);
        const Real spread = std::sqrt(deviation * deviation + kSizeError * kSizeError * size_ * size_);
        // More than everything is no less a misfire.
        const Real off = std::min(lost - size_, Real(0)) / spread;
        return std::exp(Real(-0.5) * off * off) * kPerRootTwoPi / spread;
    }
    [[nodiscard]] Real any(Real lost, Real deviation) const noexcept {
        return density_of_range(lost, kHalf * size_, kMost * size_, deviation);
    }

    Real whole_share_ = Real(0.5);
    Real size_ = Real(1);
    Real seen_ = 0;
};

}  // namespace kurbel
