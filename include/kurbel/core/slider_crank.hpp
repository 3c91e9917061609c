// Slider-crank kinematics and the work that one combustion adds, as pure functions of crank angle.
#pragma once

#include <cmath>
#include <numbers>

#include "kurbel/core/config.hpp"

namespace kurbel {

[[nodiscard]] constexpr double to_rad(double deg) noexcept { return deg * (std::numbers::pi / 180.0); }

/// Crank mechanism in ratios; angles in rad after TDC. Heywood, Internal Combustion Engine Fundamentals (1988),
/// eqs. 2.5 to 2.11 (equation numbers from memory).
struct SliderCrank {
    double rod_ratio = 3.4;           ///< rod length over crank radius
    double compression_ratio = 10.0;  ///< largest over smallest volume

    /// The engine's own mechanism; a typical car engine's where geometry is unknown (3.4 and 10: common practice, no source).
    [[nodiscard]] static SliderCrank of(const EngineConfig& engine) noexcept {
        SliderCrank crank;
        if (engine.rod_mm > 0.0 && engine.stroke_mm > 0.0) crank.rod_ratio = 2.0 * engine.rod_mm / engine.stroke_mm;
        if (engine.compression_ratio > 0.0) crank.compression_ratio = engine.compression_ratio;
        return crank;
    }

    /// Volume over clearance volume.
    [[nodiscard]] double volume(double angle_rad) const noexcept {
        const double s = std::sin(angle_rad);
        return 1.0 + 0.5 * (compression_ratio - 1.0) *
                         (rod_ratio + 1.0 - std::cos(angle_rad) - std::sqrt(rod_ratio * rod_ratio - s * s));
    }

    /// Piston velocity over (crank radius x crank speed); also the lever arm of gas force over the crank radius.
    [[nodiscard]] double lever(double angle_rad) const noexcept {
        const double s = std::sin(angle_rad);
        return s * (1.0 + std::cos(angle_rad) / std::sqrt(rod_ratio * rod_ratio - s * s));
    }
};

/// Burnt fraction by Wiebe's function, a = 5, m = 2 (Heywood 1988, eq. 9.5, from memory).
[[nodiscard]] inline double wiebe(double fraction_of_duration) noexcept {
    if (fraction_of_duration <= 0.0) return 0.0;
    return 1.0 - std::exp(-5.0 * fraction_of_duration * fraction_of_duration * fraction_of_duration);
}

}  // namespace kurbel
