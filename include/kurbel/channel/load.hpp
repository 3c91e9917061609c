// The load channel, relative cylinder charge, from what engines really measure: manifold pressure, air mass, throttle.
//
// All answer fresh charge over the charge of the same cylinder filled from still air at the reference: 1 = full, above 1 with
// boost. Where a number is out of its range, NaN in or impossible, the answer is NaN (kUnknown), never a guess. Thread-safe.
#pragma once

#include "kurbel/core/types.hpp"

namespace kurbel::channel {

inline constexpr double kStandardPressure_kpa = 101.325;  ///< ISO 2533, sea level
inline constexpr double kGasConstantAir = 287.05;         ///< J/(kg K), ISO 2533
inline constexpr double kGammaAir = 1.4;                  ///< of air before the throttle

/// What turns manifold pressure into charge.
struct PressureToLoad {
    double barometric_kpa = kStandardPressure_kpa;  ///< absolute, 50 to 120
    /// 0: plain ratio of pressures. Above 1: compression ratio, and the burnt gas that stays in the cylinder and grows again
    /// as the intake opens is taken off.
    double compression_ratio = 0.0;
    double exhaust_kpa = kUnknown;  ///< absolute, at the end of the exhaust stroke; NaN: barometric
    double gamma = 1.3;             ///< of the residual gas, for its expansion; Heywood 1988, sec. 4.4 (from memory)
};

/// Load from absolute manifold pressure, 1 to 500 kPa.
///
/// Plain: p / p_baro. With a compression ratio r: the ideal four-stroke's volumetric efficiency (Heywood 1988, eq. 6.2; equation
/// number from memory) is e(p) = r/(r-1) - (p_exhaust/p + gamma - 1) / (gamma (r-1)), charge goes with p e(p), and the answer is
///     p e(p) / (p_baro e(p_baro)) = (p (gamma (r-1) + 1) - p_exhaust) / (p_baro (gamma (r-1) + 1) - p_exhaust)
/// never below 0. Temperatures are taken as equal.
[[nodiscard]] double load_from_manifold_pressure(double manifold_kpa, const PressureToLoad& how = {}) noexcept;

/// The air that air-mass figures are compared with: density p / (R T).
struct ReferenceAir {
    double pressure_kpa = 100.0;  ///< DIN 70020 and ISO 1585 tests take about this (99 dry, 100 ambient); from memory
    double temperature_c = 25.0;  ///< ISO 1585 (from memory)
};

/// kg/m^3, or NaN for an impossible state.
[[nodiscard]] double density(const ReferenceAir& air) noexcept;

/// Load from the air one cylinder takes in one stroke, mg: mass / (density * displaced volume of one cylinder, cm^3).
[[nodiscard]] double load_from_air_per_stroke(double air_mg, double cylinder_cm3,
                                              const ReferenceAir& air = {}) noexcept;

/// Load from an air-flow meter, g/s, at `speed_rpm`: a four-stroke takes cylinders / 2 strokes a turn (`strokes` 2: all of
/// them). `engine_cm3` is the displacement of all cylinders. NaN below 30 rpm.
[[nodiscard]] double load_from_air_flow(double flow_g_s, double speed_rpm, double engine_cm3, int strokes = 4,
                                        const ReferenceAir& air = {}) noexcept;

/// A butterfly throttle and the engine behind it.
struct Throttle {
    double bore_mm = 50.0;       ///< of the throttle body
    double closed_deg = 7.0;     ///< plate against the bore's cross-section when shut (common practice, no source)
    double leak_mm2 = 0.0;       ///< effective area that stays open: idle air, plate edge
    double discharge = 0.8;      ///< coefficient of discharge (Heywood 1988, sec. 7.6; from memory)
    double engine_cm3 = 2000.0;  ///< displacement of all cylinders
    int strokes = 4;
    double upstream_kpa = kStandardPressure_kpa;  ///< ahead of the plate
    double upstream_c = 25.0;
    PressureToLoad charge{};     ///< how manifold pressure fills the cylinders, at full filling
    double full_filling = 0.85;  ///< volumetric efficiency at barometric manifold pressure (common practice, no source)
};

/// Effective area in mm^2 of a throttle opened by `open_deg` from shut (0 to 90 - closed_deg): discharge times
/// (pi D^2 / 4) (1 - cos(closed + open) / cos(closed)), plus the leak; the plate shaft neglected (Heywood 1988, eq. 7.18 without
/// its shaft terms; equation number from memory).
[[nodiscard]] double throttle_area_mm2(const Throttle& throttle, double open_deg) noexcept;

/// Mass flow in kg/s through `area_mm2` from stagnation state (p0 kPa, T0 deg C) to `downstream_kpa`: compressible flow of an
/// ideal gas, choked below the critical ratio (Heywood 1988, eqs. C.8 and C.9; numbers from memory).
[[nodiscard]] double throttle_flow_kg_s(double area_mm2, double upstream_kpa, double upstream_c,
                                        double downstream_kpa) noexcept;

/// Load in a steady state at `speed_rpm`: the manifold pressure at which what flows past the plate is what the cylinders take in.
/// While speed or plate move, the manifold fills first: expect up to a few tenths of a second of lag.
[[nodiscard]] double load_from_throttle(const Throttle& throttle, double open_deg, double speed_rpm) noexcept;

}  // namespace kurbel::channel
