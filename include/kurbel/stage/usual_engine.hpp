// What is taken for usual before anything of an engine is known, where more than one part of the detector asks.
#pragma once

namespace kurbel {

/// Speed from which on an engine runs by itself (common practice, no source: idle lies above, starters stay below).
inline constexpr double kRunning_rpm = 450.0;

/// Share of firings that are misfires, of an engine of which none was seen.
inline constexpr double kUsualMisfireRate = 0.02;

/// Crank degrees after TDC by which half of the heat is released (engineering range, from memory; late combustion is a kind of response).
inline constexpr double kUsualBurn_deg = 9.0;

}  // namespace kurbel
