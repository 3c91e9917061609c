// A Decision and the firings that it is given.
#pragma once

#include "kurbel/stage/decision.hpp"
#include "support/even_engine.hpp"

namespace kurbel::test {

using Firing = FiringWork<double>;

inline Config config_of(int cylinders, double false_alarm = 2.0e-5) {
    Config config;
    config.engine = even_engine(cylinders);
    config.settings.false_alarm = false_alarm;
    return config;
}

inline Decision<double> decision_of(int cylinders, double false_alarm = 2.0e-5) {
    Decision<double> decision;
    decision.configure(config_of(cylinders, false_alarm));
    return decision;
}

/// A firing without any obstacle.
inline Firing firing_at(int place, double lost) {
    Firing firing;
    firing.place = place;
    firing.phase_known = true;
    firing.complete = true;
    firing.sized = true;
    firing.speed_rpm = 1500.0;
    firing.lost = lost;
    return firing;
}

}  // namespace kurbel::test
