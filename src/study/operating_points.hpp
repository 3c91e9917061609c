// Averaged orders with the doubt that belongs to each of them.
#pragma once

#include <vector>

#include "study/gas_orders.hpp"

namespace kurbel {

/// One operating point, ready to be compared with what physics gives.
struct OperatingPoint {
    OrderPhasors phasor{};
    std::array<double, FiringOrders::kMostOrders> weight{};  ///< one over variance; 0: not to be looked at
    double energy = 0.0;                                     ///< mean, rad^2/s^2
    double strength = 0.0;                                   ///< squared size in squared standard errors
    bool motored = false;
    bool starter = false;  ///< so slow that a starter may be turning the engine
};

/// The points that say most, the clearest first.
[[nodiscard]] std::vector<OperatingPoint> operating_points(const Config& config, const FiringOrders& orders);

}  // namespace kurbel
