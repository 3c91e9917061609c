// Numbers of the random streams of one seed, so that no two effects draw from the same one. wheel.cpp has 1 to 3
// and 40 to 47 (one of them in capture.cpp, which also has those from 2000000 on),
// misfire.hpp those from 1000 on.
#pragma once

#include <cstdint>

namespace kurbel::simulate::stream {

inline constexpr std::uint64_t kEngine = 10;  ///< spread of the cylinders
inline constexpr std::uint64_t kChannel = 11;
inline constexpr std::uint64_t kStartAngle = 15;
inline constexpr std::uint64_t kRoad = 50;
inline constexpr std::uint64_t kChargeSpread = 16;
inline constexpr std::uint64_t kWaveform = 48;
inline constexpr std::uint64_t kCylinder = 100;  ///< and one more for each cylinder
inline constexpr std::uint64_t kSlowBurn = 200;  ///< likewise

}  // namespace kurbel::simulate::stream
