// How much work one firing does on the mean: what the differences between cylinders are percent of.
#pragma once

#include "kurbel/core/config.hpp"

namespace kurbel {

/// How an engine ran, on the mean.
struct RunningMeans {
    double useful_charge = 0.0;  ///< ExpectedWork::useful_charge, 0 in a fuel cut
    double rev_hz = 0.0;
    bool load_known = false;
    bool always_fuelled = true;
};

struct WorkSize {
    double mean = 0.0;   ///< of one firing over rotating inertia, rad^2/s^2
    double doubt = 0.3;  ///< its standard error, share
};

/// From load, geometry and inertia. At idle little of the charge is useful, and the load channel's own error weighs most; but there
/// the work is what friction and pumping take, which is known about as well (Heywood 1988, ch. 13, from memory). The two are weighed
/// by their errors; a load that says more than friction takes is believed, because something may be driven.
[[nodiscard]] WorkSize size_of_work(const EngineConfig& engine, const RunningMeans& running);

}  // namespace kurbel
