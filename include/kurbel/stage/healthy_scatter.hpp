// How much healthy firings scatter, and how rare a loss of work is among them.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/normal.hpp"

namespace kurbel {

/// A healthy deviate z is a normal one bent by a cube, z(x) = ((1 + c x)^3 - 1) / 3c: the deviates of a gamma distribution
/// (Wilson and Hilferty, PNAS 17:684, 1931; its skewness is about 6c), for combustion scatters with a heavy low side.
template <class Real>
struct BentNormal {
    Real bend = Real(0.03);

    [[nodiscard]] Real from_normal(Real x) const noexcept {
        const Real y = Real(1) + bend * x;
        return (y * y * y - Real(1)) / (Real(3) * bend);
    }
    /// On the loss side; below the median a deviate is taken as it is.
    [[nodiscard]] Real to_normal(Real z) const noexcept {
        return z > Real(0) ? (std::cbrt(Real(1) + Real(3) * bend * z) - Real(1)) / bend : z;
    }
    /// A normal deviate, and the slope of to_normal there.
    struct Normal {
        Real deviate = 0;
        Real slope = 1;
    };
    /// Both at z, from one root.
    [[nodiscard]] Normal normal_at(Real z) const noexcept {
        if (!(z > Real(0))) return {z, Real(1)};
        const Real root = std::cbrt(Real(1) + Real(3) * bend * z);
        return {(root - Real(1)) / bend, Real(1) / (root * root)};
    }
    /// Chance of a deviate beyond z.
    [[nodiscard]] Real beyond(Real z) const noexcept { return Real(0.5) * std::erfc(to_normal(z) * Real(kRootOfHalf)); }
    /// Mean of z - `from` where z lies between `from` and `to`, 0 elsewhere. Simpson's rule over the tail, good to 4 %.
    [[nodiscard]] Real excess(Real from, Real to) const noexcept {
        const Real length = to - from;
        const Real last = beyond(to);
        return length / Real(6) * (beyond(from) + Real(4) * beyond(from + Real(0.5) * length) + last) - length * last;
    }
};

/// Pull on a standard deviation that is followed by the median of absolute deviations (stochastic approximation: Robbins and Monro,
/// 1951), times the gain that is best for a normal distribution: up where `off` lies beyond that median, else down.
template <class Real>
[[nodiscard]] Real median_pull(Real off, Real deviation) noexcept {
    constexpr Real kGain = Real(1.17);
    const Real beyond = off - Real(kNormalMedian) * deviation;
    return beyond > Real(0) ? kGain : (beyond < Real(0) ? -kGain : Real(0));
}

/// Healthy scatter of the lost share per place in the firing order, learned from firings weighted by their probability of
/// being healthy: mean and deviation of each place from medians, and the bend that all places share from how far firings
/// reach between two deviations and half of the work, where misfires are rare (peaks over a threshold as in Coles, An
/// Introduction to Statistical Modeling of Extreme Values, 2001, ch. 4, censored, with a bent normal tail).
template <class Real>
class HealthyScatter {
  public:
    void begin(int firings) noexcept {
        firings_ = firings;
        learned_ = 0;
        mean_.fill(0);
        // Before anything is known: scatter of 15 %, the weight of ten firings.
        deviation_.fill(kPriorDeviation);
        count_.fill(0);
        common_deviation_ = kPriorDeviation;
        common_count_ = 0;
        reach_ = kFarthest;
        tail_.bend = kPriorBend;
        excess_ = tail_.excess(kTailBegins, reach_);
    }

    /// `known_variance`: part of the scatter that has another cause and is accounted for elsewhere. `weight`: probability that
    /// the firing was healthy.
    void learn(int place, Real lost, Real known_variance, Real weight) noexcept {
        const auto k = static_cast<std::size_t>(place);
        const auto with_known = [known_variance](Real deviation) {
            return std::sqrt(deviation * deviation + known_variance);
        };
        const Real unit = with_known(deviation(place));
        common_count_ = std::min(common_count_ + weight, kMemory * Real(firings_));
        count_[k] = std::min(count_[k] + weight, kMemory);
        learn_tail((lost - mean_[k]) / unit, (kHalf - mean_[k]) / unit, weight);
        // Medians by stochastic approximation (Robbins and Monro, 1951) with the gain that is best for a normal distribution:
        // misfires that were taken for healthy, even one in eight, hardly move them.
        const Real own = weight / (count_[k] + Real(20));
        const Real off = std::fabs(lost - mean_[k]);
        mean_[k] += Real(1.25) * own * deviation(place) * side(lost - mean_[k]);
        deviation_[k] += median_pull(off, with_known(deviation_[k])) * own * deviation_[k];
        common_deviation_ +=
            median_pull(off, with_known(common_deviation_)) * weight / (common_count_ + Real(20)) * common_deviation_;
    }

    /// Takes the deviation that `count` firings at once have shown, weighed against what was known before.
    void settle(Real deviation, int count) noexcept {
        if (count == 0 || !(deviation > Real(0))) return;
        const Real before = common_count_ + kPriorCount;
        const Real share = Real(count) / (Real(count) + before);
        const Real step = std::pow(deviation / common_deviation_, share);
        common_deviation_ *= step;
        for (int k = 0; k < firings_; ++k) deviation_[static_cast<std::size_t>(k)] *= step;
        common_count_ = std::min(common_count_ + Real(count), kMemory * Real(firings_));
    }

    /// Begins a place anew, after the pattern was moved under it.
    void forget(int place) noexcept {
        const auto k = static_cast<std::size_t>(place);
        mean_[k] = 0;
        count_[k] = 0;
        deviation_[k] = common_deviation_;
    }

    /// Standard deviation of all places together.
    [[nodiscard]] Real common() const noexcept { return common_deviation_; }
    [[nodiscard]] Real count(int place) const noexcept { return count_[static_cast<std::size_t>(place)]; }
    [[nodiscard]] Real mean(int place) const noexcept { return mean_[static_cast<std::size_t>(place)]; }

    /// Standard deviation of this place (from the median of absolute deviations), drawn towards the common one while few
    /// firings are known.
    [[nodiscard]] Real deviation(int place) const noexcept {
        const auto k = static_cast<std::size_t>(place);
        const Real trust = count_[k] / (count_[k] + Real(30));
        const Real learned = trust * deviation_[k] + (Real(1) - trust) * common_deviation_;
        // A cylinder that scatters by far more than the others has more than scatter.
        return std::max(std::min(learned, Real(1.5) * common_deviation_), Real(0.02));
    }

    /// Healthy deviations that are as rare as `normal` deviations of a normal distribution.
    [[nodiscard]] Real quantile(Real normal) const noexcept { return tail_.from_normal(normal); }

    /// The normal deviate that is as rare as z healthy standard deviations are here.
    [[nodiscard]] Real as_normal(Real z) const noexcept { return tail_.to_normal(z); }
    /// The same with the slope there, which turns a density of normal deviates into one of healthy ones.
    [[nodiscard]] typename BentNormal<Real>::Normal normal_at(Real z) const noexcept { return tail_.normal_at(z); }

  private:
    static constexpr Real kMemory = Real(1000);
    static constexpr unsigned kFitEvery = 8;  // the tail moves slowly, and fitting it costs more than all the rest
    static constexpr Real kPriorDeviation = Real(0.15);
    // Engines scatter half to twice as much as the next one; the deviation of n firings is known to 1.2 over root n.
    static constexpr Real kPriorCount = Real(3);
    static constexpr Real kHalf = Real(0.5);  // of the work: misfires lose more
    static constexpr Real kTailBegins = Real(2);
    static constexpr Real kNearest = Real(2.2);
    static constexpr Real kFarthest = Real(3.5);
    // Combustion's skewness is 0.2 or so where scatter is measured, 0.7 at most (engineering range, from memory).
    static constexpr Real kPriorBend = Real(0.03);
    static constexpr Real kBendSpread = Real(0.1);
    static constexpr Real kLeastBend = Real(0.001);
    static constexpr Real kMostBend = Real(0.12);

    [[nodiscard]] static constexpr Real side(Real x) noexcept {
        return x > Real(0) ? Real(1) : (x < Real(0) ? Real(-1) : Real(0));
    }

    /// `z`: the firing in deviations; `half`: half of the work in deviations.
    void learn_tail(Real z, Real half, Real weight) noexcept {
        const Real reach = std::clamp(half, kNearest, kFarthest);
        const Real step = weight / (common_count_ + Real(400));
        excess_ += step * ((z > kTailBegins && z < reach ? z - kTailBegins : Real(0)) - excess_);
        reach_ += step * (reach - reach_);
        if (++learned_ % kFitEvery == 0) fit_tail();
    }

    /// One step of Gauss and Newton towards the likeliest bend.
    void fit_tail() noexcept {
        constexpr Real kStep = Real(0.02);
        constexpr Real kSquareExcess = Real(0.013);  // mean square of one firing's excess
        const Real here = tail_.excess(kTailBegins, reach_);
        const Real slope = (BentNormal<Real>{tail_.bend + kStep}.excess(kTailBegins, reach_) - here) / kStep;
        const Real doubt = kSquareExcess / ((common_count_ + Real(50)) * kBendSpread * kBendSpread);
        const Real wanted =
            (slope * (excess_ - here + slope * tail_.bend) + doubt * kPriorBend) / (slope * slope + doubt);
        tail_.bend = std::clamp(wanted, kLeastBend, kMostBend);
    }

    int firings_ = 1;
    unsigned learned_ = 0;
    Real common_deviation_ = kPriorDeviation;
    Real common_count_ = 0;
    Real excess_ = 0;
    Real reach_ = kFarthest;
    BentNormal<Real> tail_{};
    std::array<Real, kMaxCylinders> mean_{};
    std::array<Real, kMaxCylinders> deviation_{};
    std::array<Real, kMaxCylinders> count_{};
};

}  // namespace kurbel
