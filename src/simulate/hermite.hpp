#pragma once

namespace kurbel::simulate {

/// Cubic through two values and two slopes (times the step) at `t` in 0 to 1.
[[nodiscard]] inline double hermite(double v0, double s0, double v1, double s1, double t) noexcept {
    const double rise = v1 - v0;
    return v0 + t * (s0 + t * ((3.0 * rise - 2.0 * s0 - s1) + t * (s0 + s1 - 2.0 * rise)));
}

}  // namespace kurbel::simulate
