// Heat release over crank angle.
#pragma once

#include "kurbel/simulate/portable_math.hpp"

namespace kurbel::simulate {

inline constexpr double kWiebeA = 5.0;  ///< Heywood 1988, eq. 9.5 (value from memory)
inline constexpr double kWiebeM = 2.0;

/// Share of the heat released: Wiebe function, Heywood 1988, eq. 9.5 (from memory). `fraction` is the angle since the
/// start over the burn duration; 0.9933 at 1, and its tail is followed beyond.
[[nodiscard]] inline double wiebe(double fraction) noexcept {
    if (fraction <= 0.0) return 0.0;
    return 1.0 - portable::exp(-kWiebeA * fraction * fraction * fraction);
}

/// Derivative of wiebe() with respect to its argument.
[[nodiscard]] inline double wiebe_slope(double fraction) noexcept {
    if (fraction <= 0.0) return 0.0;
    const double square = fraction * fraction;
    return kWiebeA * (kWiebeM + 1.0) * square * portable::exp(-kWiebeA * square * fraction);
}

/// Fraction of the duration at which half of the heat is released: (ln 2 / a)^(1/3).
inline constexpr double kWiebeHalf = 0.51755;

/// Fraction at which the tail is cut: 1 - wiebe < 2e-5, so that the pressure keeps a smooth slope there.
inline constexpr double kWiebeEnd = 1.3;

/// A diesel's burn in two parts with one start: premixed as wiebe() above, diffusion with the lower exponent m = 1 that rises
/// early and fades late (double Wiebe function, Miyamoto et al., SAE 850107; exponents from memory).
[[nodiscard]] inline double diffusion_burn(double fraction) noexcept {
    if (fraction <= 0.0) return 0.0;
    return 1.0 - portable::exp(-kWiebeA * fraction * fraction);
}

/// Derivative of diffusion_burn() with respect to its argument.
[[nodiscard]] inline double diffusion_burn_slope(double fraction) noexcept {
    if (fraction <= 0.0) return 0.0;
    return 2.0 * kWiebeA * fraction * portable::exp(-kWiebeA * fraction * fraction);
}

/// Fraction at which its tail is cut: 1e-5 of the heat is left.
inline constexpr double kDiffusionEnd = 1.52;

/// Smooth step from 0 to 1 with two continuous derivatives; joins the phases of the gas exchange.
[[nodiscard]] inline double smooth_step(double x) noexcept {
    if (x <= 0.0) return 0.0;
    if (x >= 1.0) return 1.0;
    return x * x * x * (10.0 + x * (6.0 * x - 15.0));
}

}  // namespace kurbel::simulate
