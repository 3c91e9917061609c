// Which firings a four-stroke engine's crank alone can tell from those one revolution on.
#pragma once

#include <cmath>

#include "kurbel/core/config.hpp"

namespace kurbel {

/// True where the firing angles moved by 360 degrees are the same set (four-stroke I4, I6, even V6, V8, ...): then no
/// motion of the crank tells one revolution from the other, and each firing has two candidates. False for two-strokes.
[[nodiscard]] inline bool symmetric_under_360(const EngineConfig& engine) noexcept;

/// Place in the firing order of the cylinder that fires 360 degrees after the one at `place`; -1 where none does.
[[nodiscard]] inline int partner_under_360(const EngineConfig& engine, int place) noexcept {
    constexpr double kSameDeg = 0.5;
    if (engine.strokes != 4) return -1;
    const double wanted = std::fmod(engine.firing_tdc_deg[static_cast<std::size_t>(place)] + 360.0, 720.0);
    for (int i = 0; i < engine.cylinders; ++i) {
        const double off = std::fabs(engine.firing_tdc_deg[static_cast<std::size_t>(i)] - wanted);
        if (std::fmin(off, 720.0 - off) <= kSameDeg) return i;
    }
    return -1;
}

/// Place in the firing order of the cylinder that a firing seen at the TDC of the one at `place` may belong to instead,
/// while it is not known which revolution is the firing one: the nearest of those 360 degrees on, where that lies within
/// 45 degrees; -1 where none does.
[[nodiscard]] inline int mistakable_for(const EngineConfig& engine, int place) noexcept {
    constexpr double kNearDeg = 45.0;
    if (engine.strokes != 4) return -1;
    const double wanted = std::fmod(engine.firing_tdc_deg[static_cast<std::size_t>(place)] + 360.0, 720.0);
    int nearest = -1;
    double least = kNearDeg;
    for (int i = 0; i < engine.cylinders; ++i) {
        const double apart = std::fabs(engine.firing_tdc_deg[static_cast<std::size_t>(i)] - wanted);
        const double off = std::fmin(apart, 720.0 - apart);
        if (i == place || off > least) continue;
        least = off;
        nearest = i;
    }
    return nearest;
}

inline bool symmetric_under_360(const EngineConfig& engine) noexcept {
    for (int place = 0; place < engine.cylinders; ++place)
        if (partner_under_360(engine, place) < 0) return false;
    return true;
}

}  // namespace kurbel
