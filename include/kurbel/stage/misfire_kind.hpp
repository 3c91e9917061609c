// What misfires of this engine look like: all of the work lost, or any large share of it.
#pragma once

#include <algorithm>
#include <cmath>

namespace kurbel {

/// Density of the lost share of a firing that lost at least half: a mixture of "all of it" and "any share from a half to a
/// little over all". How usual the whole misfire is, is learned: where misfires lose everything, a firing that lost half is
/// rather the tail of the healthy ones.
template <class Real>
class MisfireKind {
  public:
    void reset() noexcept {
        whole_share_ = Real(0.5);
        count_ = 0;
    }

    /// `deviation`: of the measurement and healthy scatter.
    [[nodiscard]] Real density(Real lost, Real deviation) const noexcept {
        return whole_share_ * whole(lost, deviation) + (Real(1) - whole_share_) * any(lost, deviation);
    }

    /// Learns from a firing that was a misfire with this probability (expectation-maximisation).
    void learn(Real lost, Real deviation, Real probability) noexcept {
        const Real total = density(lost, deviation);
        if (!(total > Real(1e-20))) return;
        count_ = std::min(count_ + probability, kMemory);
        const Real share = whole_share_ * whole(lost, deviation) / total;
        whole_share_ += probability / (count_ + kPriorCount) * (share - whole_share_);
    }

    [[nodiscard]] Real whole_share() const noexcept { return whole_share_; }

  private:
    static constexpr Real kMemory = Real(100);
    static constexpr Real kPriorCount = Real(10);
    static constexpr Real kSizeError = Real(0.1);  // expected work is known to a tenth
    static constexpr Real kHalf = Real(0.5);
    static constexpr Real kMost = Real(1.2);

    [[nodiscard]] static Real whole(Real lost, Real deviation) noexcept {
        constexpr Real kPerRootTwoPi = Real(0.398942);
        const Real spread = std::sqrt(deviation * deviation + kSizeError * kSizeError);
        // More than everything is no less a misfire.
        const Real off = lost > kMost ? Real(0) : (lost - Real(1)) / spread;
        return std::exp(Real(-0.5) * off * off) * kPerRootTwoPi / spread;
    }
    [[nodiscard]] static Real any(Real lost, Real deviation) noexcept {
        const Real short_of = std::min(lost - kHalf, Real(0)) / deviation;
        return std::exp(Real(-0.5) * short_of * short_of) / (kMost - kHalf);
    }

    Real whole_share_ = Real(0.5);
    Real count_ = 0;
};

}  // namespace kurbel
