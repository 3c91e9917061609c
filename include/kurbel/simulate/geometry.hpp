// Slider-crank: piston travel, its derivatives and the volume over crank angle from top dead centre.
#pragma once

#include <cmath>

#include "kurbel/core/config.hpp"
#include "kurbel/simulate/portable_math.hpp"

namespace kurbel::simulate {

/// Piston travel from top dead centre and its derivatives with respect to crank angle.
struct PistonMotion {
    double travel_m = 0.0;
    double slope_m = 0.0;      ///< d travel / d angle, m/rad
    double curvature_m = 0.0;  ///< second derivative, m/rad^2
};

/// One cylinder's geometry, centred crank.
struct SliderCrank {
    double crank_radius_m = 0.0;
    double rod_m = 0.0;
    double area_m2 = 0.0;
    double clearance_m3 = 0.0;

    [[nodiscard]] static SliderCrank from(const EngineConfig& engine) noexcept {
        SliderCrank result;
        result.crank_radius_m = 0.5e-3 * engine.stroke_mm;
        result.rod_m = 1e-3 * engine.rod_mm;
        result.area_m2 = 0.25 * portable::kPi * 1e-6 * engine.bore_mm * engine.bore_mm;
        result.clearance_m3 = result.displacement_m3() / (engine.compression_ratio - 1.0);
        return result;
    }

    [[nodiscard]] double displacement_m3() const noexcept { return 2.0 * crank_radius_m * area_m2; }

    /// Heywood 1988, eq. 2.5 (value from memory): s = a cos x + sqrt(l^2 - a^2 sin^2 x); travel = l + a - s.
    [[nodiscard]] PistonMotion motion(double angle_rad) const noexcept {
        const auto [sine, cosine] = portable::sincos(angle_rad);
        const double a = crank_radius_m;
        const double root = std::sqrt(rod_m * rod_m - a * a * sine * sine);
        const double swing = a * a * sine * cosine / root;  // -d root / d angle
        PistonMotion result;
        result.travel_m = rod_m + a - a * cosine - root;
        result.slope_m = a * sine + swing;
        result.curvature_m = a * cosine + (a * a * (cosine * cosine - sine * sine) + swing * swing) / root;
        return result;
    }

    [[nodiscard]] double volume_m3(double angle_rad) const noexcept {
        return clearance_m3 + area_m2 * motion(angle_rad).travel_m;
    }
};

}  // namespace kurbel::simulate
