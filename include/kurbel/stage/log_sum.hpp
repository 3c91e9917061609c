// Sums of numbers that are too small or too large to be written down: likelihoods.
#pragma once

#include <cmath>
#include <limits>

namespace kurbel {

/// Logarithm of a sum of numbers that are given by their logarithms.
template <class Real>
class LogSum {
  public:
    void add(Real log) noexcept {
        if (log > most_) {
            sum_ = sum_ * std::exp(most_ - log) + Real(1);
            most_ = log;
        } else {
            sum_ += std::exp(log - most_);
        }
    }
    [[nodiscard]] Real value() const noexcept { return most_ + std::log(sum_); }
    /// Of the largest one that was added.
    [[nodiscard]] Real most() const noexcept { return most_; }

  private:
    Real most_ = std::numeric_limits<Real>::lowest();
    Real sum_ = 0;
};

}  // namespace kurbel
