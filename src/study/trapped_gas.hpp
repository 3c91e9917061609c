// What gas shut in a cylinder does to the crank, in tables over the crank angle.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "kurbel/core/slider_crank.hpp"

namespace kurbel::cranking {

/// Valves: closed from 140 before to 125 after TDC, open at the bottoms (ordinary timing, from memory). Torque there is small.
inline constexpr double kClosed_deg = -140.0;
inline constexpr double kOpens_deg = 125.0;

inline double smooth(double x) {
    const double t = std::clamp(x, 0.0, 1.0);
    return t * t * (3.0 - 2.0 * t);
}

/// What the gas of one cylinder does at one angle, per unit of what is fitted.
struct GasTables {
    static constexpr int kPerDeg = 4;
    static constexpr int kSize = 360 * kPerDeg + 1;
    std::array<double, kSize> ratio_log{};  ///< log of bottom volume over volume
    std::array<double, kSize> inverse{};    ///< clearance over volume
    std::array<double, kSize> lever{};      ///< times the share by which the valves are shut
    double bottom = 10.0;                   ///< bottom over clearance volume

    explicit GasTables(const SliderCrank& crank) {
        bottom = crank.volume(std::numbers::pi);
        for (int i = 0; i < kSize; ++i) {
            const double deg = -180.0 + static_cast<double>(i) / kPerDeg;
            const double volume = crank.volume(to_rad(deg));
            const auto at = static_cast<std::size_t>(i);
            ratio_log[at] = std::log(bottom / volume);
            inverse[at] = 1.0 / volume;
            const double shut = deg < kClosed_deg  ? smooth((deg + 180.0) / (kClosed_deg + 180.0))
                                : deg > kOpens_deg ? smooth((180.0 - deg) / (180.0 - kOpens_deg))
                                                   : 1.0;
            lever[at] = shut * crank.lever(to_rad(deg));
        }
    }
};

/// Flow through a small hole towards ambient over the choked flow, by ratio of pressures (gamma 1.4).
inline double flow_share(double pressure_over_ambient) {
    constexpr double kGamma = 1.4;
    if (pressure_over_ambient >= 1.893) return 1.0;
    if (pressure_over_ambient <= 1.0) return 0.0;
    const double r = 1.0 / pressure_over_ambient;
    return std::sqrt(std::pow(r, 2.0 / kGamma) - std::pow(r, (kGamma + 1.0) / kGamma)) / 0.2588;
}

/// Place of a crank angle within +-180 degrees of a cylinder's firing TDC in the tables; negative elsewhere.
inline double table_place(double deg, double cycle_deg) {
    const double x = std::remainder(deg, cycle_deg);
    if (x <= -180.0 || x >= 180.0) return -1.0;
    return (x + 180.0) * GasTables::kPerDeg;
}

inline double between(const std::array<double, GasTables::kSize>& table, double place) {
    const auto at = std::min(static_cast<std::size_t>(place), static_cast<std::size_t>(GasTables::kSize - 2));
    const double share = place - static_cast<double>(at);
    return (1.0 - share) * table[at] + share * table[at + 1];
}

}  // namespace kurbel::cranking
