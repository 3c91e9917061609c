// What can be said of a calibration that was learned elsewhere: whether it belongs to this engine.
#pragma once

#include <cstdint>

namespace kurbel {

/// How a wheel that was learned elsewhere (Config::wheel_errors) fits what was seen here.
struct WheelFit {
    int patterns = 0;           ///< patterns over the teeth that could be compared: degrees of freedom
    double chi_square = 0.0;    ///< of what is left, over its variance; about `patterns` for the same wheel
    double log_odds = 0.0;      ///< natural, that it is this wheel rather than another as uneven
    double rms_left_deg = 0.0;  ///< how far teeth still stand from it, crank degrees
};

enum class SameWheel : std::uint8_t { unsure = 0, same = 1, other = 2 };

/// Whether this is the wheel whose errors were loaded; only said where the odds are beyond 1000 to 1.
[[nodiscard]] constexpr SameWheel same_wheel(const WheelFit& fit) noexcept {
    constexpr double kSure = 6.9;
    if (fit.patterns == 0 || (fit.log_odds <= kSure && fit.log_odds >= -kSure)) return SameWheel::unsure;
    return fit.log_odds > 0.0 ? SameWheel::same : SameWheel::other;
}

}  // namespace kurbel
