// What a misfire of this engine reads as: how much of the work, by the measure that its own misfires have shown.
#pragma once

#include <algorithm>
#include <cmath>

#include "kurbel/stage/normal.hpp"

namespace kurbel {

/// Density of `value`, measured with this standard deviation, of what may be anything between `from` and `to`; beyond the middle of the two
/// as in the middle, for more than everything is no less.
template <class Real>
[[nodiscard]] Real density_of_range(Real value, Real from, Real to, Real deviation) noexcept {
    const Real at = std::min(value, Real(0.5) * (from + to));
    const Real scale = Real(kRootOfHalf) / deviation;
    const Real near = (from - at) * scale;
    const Real far = (to - at) * scale;
    // erfc falls like exp(-x^2): what is so much farther out is less than the last digit of the other, and takes as long to compute.
    constexpr Real kBeyondDigits = Real(40);
    const bool counts = near < Real(0) || far * far - near * near < kBeyondDigits;
    return Real(0.5) * (std::erfc(near) - (counts ? std::erfc(far) : Real(0))) / (to - from);
}

/// Density of the measured loss of a misfire: "all of it" or "any share from a half to a little more than all". Both scale with the
/// size that a whole loss is measured as: 1 where the expected work is right, half of that where it is twice too large (a cold
/// engine whose load channel promises more than the late spark delivers). Share and size are learned from firings by their
/// probability (expectation-maximisation of a mixture: Dempster, Laird and Rubin, J. R. Stat. Soc. B 39:1-38, 1977).
template <class Real>
class MisfireSize {
  public:
    void begin() noexcept { *this = MisfireSize{}; }

    /// How far one reading may be off: `healthy` is the deviation of this cylinder's healthy firings, which is measurement and the scatter
    /// of combustion, `now` that of a healthy firing in this window; `guess` that of what a whole loss reads as, a share of it, as long as no
    /// misfire has shown it.
    struct Error {
        Real healthy = 0;
        Real now = 0;
        Real guess = 0;
    };

    [[nodiscard]] Real density(Real lost, const Error& error) const noexcept {
        const Real spread = deviation(error);
        const Real doubt = error.guess * kSizeFirings / (kSizeFirings + seen_);
        return whole_share_ * whole(lost, std::hypot(spread, doubt * size_)) +
               (Real(1) - whole_share_) * any(lost, spread);
    }

    /// Learns from a firing that was a misfire with this probability.
    void learn(Real lost, const Error& error, Real probability) noexcept {
        const Real spread = deviation(error);
        const Real total = density(lost, error);
        if (!(total > Real(1e-20)) || !(probability > Real(0))) return;
        seen_ = std::min(seen_ + probability, kMemory);
        if (learn_share(lost, spread, probability)) learn_spread(lost, spread, error, probability);
        // A quantile by stochastic approximation: where some misfires are partial, whole ones are the upper part. It is followed quickly: when
        // a cold engine's late spark ends, it grows by half within a dozen misfires.
        const Real step = Real(2) * probability / (std::min(seen_, kSizeMemory) + kSizeFirings);
        size_ *= Real(1) + step * (lost > size_ ? kUpperPart : kUpperPart - Real(1));
        size_ = std::clamp(size_, kSmallest, kLargest);
    }

    /// What misfires of the same size read differently by: no more than healthy firings do and the size is uncertain by; and less where
    /// they have shown it, for combustion, of which there is none, adds nothing.
    [[nodiscard]] Real deviation(const Error& error) const noexcept {
        const Real most = error.healthy * error.healthy + kSizeError * kSizeError * size_ * size_;
        const Real learned = (kSpreadFirings * most + whole_seen_ * square_) / (kSpreadFirings + whole_seen_);
        return std::sqrt(std::max(std::min(learned, most) + more(error), kLeastSpread * kLeastSpread));
    }

    /// Variance of what healthy firings read differently by though they did the same: what misfires do, of whom combustion has no part,
    /// but for that which grows with the loss, as the size they are measured by is off; before those have shown it, half of what healthy
    /// ones scatter, as much as combustion's.
    [[nodiscard]] Real measured_variance(const Error& error) const noexcept {
        const Real healthy = error.healthy * error.healthy;
        const Real learned =
            (kSpreadFirings * Real(0.5) * healthy + whole_seen_ * square_) / (kSpreadFirings + whole_seen_);
        return kOfAnySize * std::max(std::min(learned, healthy) + more(error), kLeastSpread * kLeastSpread);
    }
    /// What a loss reads as that was weak by nature, and its standard deviation from engine to engine.
    struct WeakLoss {
        Real reads = 0;
        Real error = 0;
    };
    /// Half of the work, lost so: a weak burn is slow and late, too, which takes from what it reads as. Share of a whole loss, of cold
    /// idles of engines on paper. Until misfires have shown what a whole loss reads as, that is uncertain, too.
    [[nodiscard]] WeakLoss weak_half() const noexcept { return weak_loss(kWeakHalf); }
    /// Most of it: 60 %, what has to be called.
    [[nodiscard]] WeakLoss weak_most() const noexcept { return weak_loss(kWeakMost); }

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
    /// Learns how many misfires are whole losses; returns whether this one may be. By their densities alone the two parts would come
    /// apart too slowly, for partial losses may be of any size; so those that are too small for a whole one are counted, and it is known
    /// which part of the partial ones is that small.
    bool learn_share(Real lost, Real spread, Real probability) noexcept {
        const Real from = kHalf * size_;
        const Real least = size_ - kTooSmall * spread;
        const Real apart = (least - from) / ((kMost - kHalf) * size_);
        const bool may_be_whole = lost > least;
        if (apart < kLeastApart) return may_be_whole;
        const Real seems = may_be_whole ? Real(1) : Real(1) - Real(1) / apart;
        whole_share_ += probability / (seen_ + kShareFirings) * (seems - whole_share_);
        whole_share_ = std::clamp(whole_share_, kLeastPart, Real(1) - kLeastPart);
        return may_be_whole;
    }

    [[nodiscard]] WeakLoss weak_loss(Real share) const noexcept {
        const Real of_kind = kWeakHalfError * size_;
        const Real of_size = share * kUnknownSize;
        return {share * size_, std::sqrt(of_kind * of_kind + of_size * of_size / (Real(1) + seen_))};
    }

    /// Mean and variance of whole losses, one more of them with this probability. What all firings scatter by more than usual in this window
    /// is no part of it, and a window that scatters more tells less: as much as the inverse square of a variance.
    void learn_spread(Real lost, Real spread, const Error& error, Real probability) noexcept {
        const Real usual = std::min(error.healthy * error.healthy / (error.now * error.now), Real(1));
        const Real weight = probability * usual * usual;
        if (!(weight > Real(0))) return;
        whole_seen_ = std::min(whole_seen_ + weight, kMemory);
        const Real step = weight / whole_seen_;
        const Real off = std::clamp(lost - mean_, -kFarthest * spread, kFarthest * spread);
        mean_ += step * off;
        square_ += step * ((Real(1) - step) * off * off - more(error) - square_);
    }

    /// Variance that this window adds to the usual one.
    [[nodiscard]] static Real more(const Error& error) noexcept {
        return std::max(error.now * error.now - error.healthy * error.healthy, Real(0));
    }

    static constexpr Real kMemory = Real(100);
    static constexpr Real kShareFirings = Real(2);  // any share is as likely before (Laplace's rule of succession)
    static constexpr Real kSizeFirings = Real(5);
    static constexpr Real kSizeMemory = Real(15);
    static constexpr Real kTooSmall = Real(2.5);  // deviations
    static constexpr Real kLeastApart = Real(0.2);
    static constexpr Real kLeastPart = Real(0.01);
    static constexpr Real kSpreadFirings = Real(5);
    static constexpr Real kFarthest = Real(3);  // deviations: one odd reading must not widen it much
    static constexpr Real kLeastSpread = Real(0.02);
    static constexpr Real kOfAnySize = Real(0.85);  // of that variance, what a loss of half has, too
    static constexpr Real kUpperPart = Real(0.6);
    static constexpr Real kSizeError = Real(0.1);  // from firing to firing
    static constexpr Real kSmallest = Real(0.3);
    static constexpr Real kLargest = Real(1.5);
    static constexpr Real kHalf = Real(0.5);
    static constexpr Real kWeakHalf = Real(0.43);
    static constexpr Real kWeakMost = Real(0.53);
    static constexpr Real kWeakHalfError = Real(0.06);
    static constexpr Real kUnknownSize = Real(0.15);  // deviation of a whole loss's size from engine to engine
    static constexpr Real kMost = Real(1.2);

    [[nodiscard]] Real whole(Real lost, Real spread) const noexcept {
        // More than everything is no less a misfire.
        const Real off = std::min(lost - size_, Real(0)) / spread;
        return std::exp(Real(-0.5) * off * off) * Real(kNormalPeak) / spread;
    }
    [[nodiscard]] Real any(Real lost, Real deviation) const noexcept {
        return density_of_range(lost, kHalf * size_, kMost * size_, deviation);
    }

    Real whole_share_ = Real(0.5);
    Real size_ = Real(1);
    Real seen_ = 0;
    Real whole_seen_ = 0;
    Real mean_ = Real(1);
    Real square_ = 0;  // of how far whole losses read from their mean
};

}  // namespace kurbel
