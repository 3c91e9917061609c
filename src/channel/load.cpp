#include "kurbel/channel/load.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace kurbel::channel {

namespace {

constexpr double kZeroCelsius_k = 273.15;

bool within(double value, double low, double high) noexcept { return value >= low && value <= high; }

/// What the cylinders take in, in proportion, at a manifold pressure; the ideal cycle's where a ratio is given.
double charge_of(double manifold_kpa, const PressureToLoad& how, double exhaust_kpa) noexcept {
    if (how.compression_ratio <= 1.0) return manifold_kpa;
    return manifold_kpa * (how.gamma * (how.compression_ratio - 1.0) + 1.0) - exhaust_kpa;
}

bool sensible(const PressureToLoad& how) noexcept {
    return within(how.barometric_kpa, 50.0, 120.0) && within(how.compression_ratio, 0.0, 40.0) &&
           within(how.gamma, 1.0, 1.67) && !(how.exhaust_kpa < 10.0) && !(how.exhaust_kpa > 1000.0);
}

double radians(double degrees) noexcept { return degrees * std::numbers::pi / 180.0; }

}  // namespace

double load_from_manifold_pressure(double manifold_kpa, const PressureToLoad& how) noexcept {
    if (!within(manifold_kpa, 1.0, 500.0) || !sensible(how)) return kUnknown;
    const double exhaust_kpa = how.exhaust_kpa > 0.0 ? how.exhaust_kpa : how.barometric_kpa;
    const double full = charge_of(how.barometric_kpa, how, exhaust_kpa);
    return full > 0.0 ? std::max(0.0, charge_of(manifold_kpa, how, exhaust_kpa) / full) : kUnknown;
}

double density(const ReferenceAir& air) noexcept {
    if (!within(air.pressure_kpa, 10.0, 500.0) || !within(air.temperature_c, -80.0, 200.0)) return kUnknown;
    return 1e3 * air.pressure_kpa / (kGasConstantAir * (air.temperature_c + kZeroCelsius_k));
}

double load_from_air_per_stroke(double air_mg, double cylinder_cm3, const ReferenceAir& air) noexcept {
    if (!(air_mg >= 0.0) || !within(cylinder_cm3, 1.0, 1e7)) return kUnknown;
    return air_mg / (density(air) * cylinder_cm3);  // mg over kg/m^3 times cm^3: both sides in mg
}

double load_from_air_flow(double flow_g_s, double speed_rpm, double engine_cm3, int strokes,
                          const ReferenceAir& air) noexcept {
    if (!within(speed_rpm, 30.0, 30000.0) || (strokes != 2 && strokes != 4)) return kUnknown;
    const double fillings_per_s = speed_rpm / 60.0 * (strokes == 2 ? 1.0 : 0.5);
    return load_from_air_per_stroke(1e3 * flow_g_s / fillings_per_s, engine_cm3, air);
}

double throttle_area_mm2(const Throttle& throttle, double open_deg) noexcept {
    if (!within(throttle.bore_mm, 1.0, 1000.0) || !within(throttle.closed_deg, 0.0, 60.0) ||
        !within(throttle.discharge, 0.05, 1.0) || !(throttle.leak_mm2 >= 0.0) ||
        !within(open_deg, 0.0, 90.0 - throttle.closed_deg))
        return kUnknown;
    const double bore = 0.25 * std::numbers::pi * throttle.bore_mm * throttle.bore_mm;
    const double closed = std::cos(radians(throttle.closed_deg));
    const double open = std::cos(radians(throttle.closed_deg + open_deg));
    return throttle.discharge * bore * (1.0 - open / closed) + throttle.leak_mm2;
}

double throttle_flow_kg_s(double area_mm2, double upstream_kpa, double upstream_c, double downstream_kpa) noexcept {
    if (!(area_mm2 >= 0.0) || !within(upstream_kpa, 1.0, 1000.0) || !within(upstream_c, -80.0, 400.0) ||
        !(downstream_kpa >= 0.0))
        return kUnknown;
    constexpr double kGamma = kGammaAir;
    const double critical = std::pow(2.0 / (kGamma + 1.0), kGamma / (kGamma - 1.0));
    const double ratio = std::clamp(downstream_kpa / upstream_kpa, critical, 1.0);
    const double root = std::sqrt(2.0 * kGamma / (kGamma - 1.0) * (1.0 - std::pow(ratio, (kGamma - 1.0) / kGamma)));
    const double stagnation = 1e3 * upstream_kpa / std::sqrt(kGasConstantAir * (upstream_c + kZeroCelsius_k));
    return 1e-6 * area_mm2 * stagnation * std::pow(ratio, 1.0 / kGamma) * root;
}

double load_from_throttle(const Throttle& throttle, double open_deg, double speed_rpm) noexcept {
    const double area = throttle_area_mm2(throttle, open_deg);
    const PressureToLoad& how = throttle.charge;
    const double volume_m3 = 1e-6 * throttle.engine_cm3;
    if (!(area >= 0.0) || !within(speed_rpm, 30.0, 30000.0) || !within(throttle.engine_cm3, 1.0, 1e8) ||
        !within(throttle.full_filling, 0.1, 2.0) || (throttle.strokes != 2 && throttle.strokes != 4) || !sensible(how))
        return kUnknown;
    const double per_s = speed_rpm / 60.0 * (throttle.strokes == 2 ? 1.0 : 0.5);
    const double full_kg_s = throttle.full_filling * volume_m3 * per_s * 1e3 * how.barometric_kpa /
                             (kGasConstantAir * (throttle.upstream_c + kZeroCelsius_k));
    // What flows in falls with manifold pressure, what the cylinders take rises: one crossing, found by halving.
    double low = 1.0;
    double high = throttle.upstream_kpa;
    for (int i = 0; i < 60; ++i) {
        const double middle = 0.5 * (low + high);
        const double in = throttle_flow_kg_s(area, throttle.upstream_kpa, throttle.upstream_c, middle);
        const double taken = full_kg_s * load_from_manifold_pressure(middle, how);
        (in > taken ? low : high) = middle;
    }
    return load_from_manifold_pressure(0.5 * (low + high), how);
}

}  // namespace kurbel::channel
