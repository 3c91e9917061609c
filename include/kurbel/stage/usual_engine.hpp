// What is taken for usual before anything of an engine is known, where more than one part of the detector asks.
#pragma once

#include "kurbel/core/config.hpp"

namespace kurbel {

/// Speed from which on an engine runs by itself (common practice, no source: idle lies above, starters stay below).
inline constexpr double kRunning_rpm = 450.0;

/// Share of firings that are misfires, of an engine of which none was seen.
inline constexpr double kUsualMisfireRate = 0.02;

/// Crank degrees after TDC by which half of the heat is released (engineering range, from memory; late combustion is a kind of response).
inline constexpr double kUsualBurn_deg = 9.0;

[[nodiscard]] inline bool masses_told(const EngineConfig& engine) noexcept {
    return engine.reciprocating_kg > 0.0 && engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0;
}

/// One cylinder's reciprocating mass on the crank radius over the crank's inertia: of 0.55 kg on 43 mm and 0.15 kg m^2, where that is not told
/// (engineering range, from memory).
[[nodiscard]] inline double mass_share(const EngineConfig& engine) noexcept {
    constexpr double kUsual = 0.007;
    return masses_told(engine)
               ? engine.reciprocating_kg * 0.25e-6 * engine.stroke_mm * engine.stroke_mm / engine.inertia_kg_m2
               : kUsual;
}
/// How far that may be off, as a share of it (engineering ranges, from memory).
[[nodiscard]] inline double mass_share_error(const EngineConfig& engine) noexcept {
    return masses_told(engine) ? 0.05 : 0.5;
}

/// Whether the compression ratio tells a diesel (engineering range, from memory): nothing throttles its air, and what its load channel tells is
/// the fuel.
[[nodiscard]] inline bool is_diesel(const EngineConfig& engine) noexcept { return engine.compression_ratio > 14.5; }

/// Probability that the air is not throttled (engineering range, from memory; how many diesels there are: common practice, no source).
[[nodiscard]] inline double unthrottled_share(const EngineConfig& engine) noexcept {
    if (!(engine.compression_ratio > 0.0)) return 0.25;
    return is_diesel(engine) ? 0.9 : 0.05;
}

}  // namespace kurbel
