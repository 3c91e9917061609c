// Mean and variance of values that are not known equally well.
#pragma once

#include <algorithm>

namespace kurbel {

/// Sums from which mean, variance and the number of values follow, each with a weight (inverse variance, to any factor).
template <class Real>
class WeightedScatter {
  public:
    /// `weight` is not negative.
    void add(Real value, Real weight) noexcept {
        weight_ += weight;
        weight_square_ += weight * weight;
        sum_ += weight * value;
        square_ += weight * value * value;
    }

    /// As many values of equal weight tell as much (Kish, Survey Sampling, 1965, from memory); 0 where there is none.
    [[nodiscard]] Real count() const noexcept {
        return weight_square_ > Real(0) ? weight_ * weight_ / weight_square_ : Real(0);
    }
    /// To be asked where count() is above 0.
    [[nodiscard]] Real mean() const noexcept { return sum_ / weight_; }
    /// Unbiased for equal weights. To be asked where count() is above 1.
    [[nodiscard]] Real variance() const noexcept {
        return std::max(square_ / weight_ - mean() * mean(), Real(0)) * count() / (count() - Real(1));
    }

  private:
    Real weight_ = 0;
    Real weight_square_ = 0;
    Real sum_ = 0;
    Real square_ = 0;
};

}  // namespace kurbel
