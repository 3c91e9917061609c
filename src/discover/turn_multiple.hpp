// Whether one lap of the pattern is the whole revolution, or one of two that look alike.
#pragma once

#include <vector>

#include "discover/fold.hpp"

namespace kurbel::discover {

enum class Halves : unsigned char {
    same = 0,       ///< neighbouring laps pass the same teeth: a lap is a revolution
    different = 1,  ///< they pass other teeth: a revolution holds two laps
    untold = 2      ///< the teeth are too alike, or their errors drown in noise
};

/// What the teeth's own small errors say.
struct HalvesFinding {
    Halves halves = Halves::untold;
    double ratio =
        0.0;  ///< of the power in which neighbouring laps differ to that which they share; other teeth make it 1
    double noise = 0.0;  ///< what chance alone makes of it
};

/// No two teeth stand alike, and their errors come back with the same tooth. So, at waves along the lap that are too short for
/// engine or crank, what alternates from lap to lap is compared with what all laps share: as much where a revolution holds
/// two laps, nothing where it holds one. `ideal` is the pattern without errors, as Fold::log_interval.
[[nodiscard]] HalvesFinding compare_halves(const std::vector<double>& edge_s, const Fold& fold,
                                           const std::vector<double>& ideal);

/// Whether every second lap differs from its neighbours, at any wave, by more than chance makes of it.
[[nodiscard]] bool alternates(const std::vector<double>& edge_s, const Fold& fold);

/// The same at waves that are too short for engine or crank.
[[nodiscard]] bool alternates_roughly(const std::vector<double>& edge_s, const Fold& fold);

}  // namespace kurbel::discover
