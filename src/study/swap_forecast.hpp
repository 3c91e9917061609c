// How much longer AFTER must be for a decision: what may come, drawn from what is believed now.
#pragma once

#include <vector>

#include "study/swap_model.hpp"

namespace kurbel::swap {

struct Forecast {
    double cycles =
        kUnknown;         ///< engine cycles more of AFTER for kChance of a decision; NaN where kMostCycles will not do
    double chance = 0.0;  ///< of a decision by then, or by kMostCycles
    static constexpr double kChance = 0.8;
    static constexpr int kMostCycles = 12000;  ///< half an hour of idling
};

/// Draws explanations from `now`, lets each go on, and asks the model again as the cycles pass. The same every time.
[[nodiscard]] Forecast forecast(const Case& given, const Model& model, const std::vector<Seen>& after,
                                const Posterior& now, double decide);

}  // namespace kurbel::swap
