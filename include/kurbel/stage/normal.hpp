// The normal distribution: numbers and functions that several stages need.
#pragma once

#include <cmath>

namespace kurbel {

inline constexpr double kNormalPeak = 0.398942;  ///< density of a standard normal variable at its mean, 1 / root(2 pi)
inline constexpr double kNormalMedian = 0.6745;  ///< median of its absolute value
inline constexpr double kRootOfHalf = 0.70710678;  ///< what a deviate is multiplied by to be the argument of erf

/// Deviate that a standard normal variable exceeds with chance `chance` (0 to 0.5): rational approximation, error below
/// 4.5e-4 (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.23).
template <class Real>
[[nodiscard]] Real normal_quantile(Real chance) noexcept {
    const Real t = std::sqrt(Real(-2) * std::log(chance));
    return t - (Real(2.515517) + t * (Real(0.802853) + t * Real(0.010328))) /
                   (Real(1) + t * (Real(1.432788) + t * (Real(0.189269) + t * Real(0.001308))));
}

}  // namespace kurbel
