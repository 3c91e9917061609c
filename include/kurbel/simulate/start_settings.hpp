// What turns the engine until it runs. Defaults are engineering ranges (values from memory, no single source).
#pragma once

#include <utility>
#include <vector>

namespace kurbel::simulate {

/// Direct-current starter as a straight line; freewheels when the engine is faster.
struct StarterSettings {
    double stall_nm = 170.0;  ///< at the crank, at `rated_v`
    double free_rpm = 280.0;  ///< at the crank, at `rated_v`
    double from_s = 0.0;
    double to_s = 1e9;
    double ratio_inertia_kg_m2 = 0.02;  ///< armature through the pinion, felt while engaged
    std::vector<std::pair<double, double>>
        engage;  ///< times (from, to) at which it is engaged, in the place of the above

    // The battery; without a current the starter's line stands as it is.
    double stall_a = 0.0;  ///< current at stall at `rated_v`, 400 to 900 for a car; 0: battery without limits
    double rated_v = 12.0;
    double battery_v = 12.6;     ///< at rest
    double battery_ohm = 0.006;  ///< inner resistance and cables: voltage falls and returns with the current
    double sag_ohm = 0.003;      ///< what it grows to under lasting current
    double sag_s = 0.8;          ///< time constant of that
};

/// A start: the starter turns, fuel comes, the engine runs up and the idle governor takes over.
struct StartSettings {
    double fuel_after_turns = 1.0;  ///< crank turns after the starter engaged
    double fuel_from_s = 0.0;       ///< and not before this time
    double load = 0.35;             ///< charge that the throttle is set to until the governor takes over, at idle speed
    double release_rpm = 450.0;     ///< the starter lets go above
    double run_rpm = 600.0;         ///< the governor takes over above
    double stall_rpm = 200.0;       ///< below, with the starter off, the engine has stalled: no fuel
};

/// Fast idle control by the spark, beside the slow one by charge.
struct IdleSparkSettings {
    double gain_deg_per_rpm = 0.0;  ///< degrees earlier for each 1/min below the target (0.02 to 0.1); 0: off
    double reserve_deg = 8.0;       ///< how much later than best the spark stands at the target
    double most_deg = 25.0;         ///< latest
    double filter_s = 0.05;         ///< of the speed that it looks at
};

}  // namespace kurbel::simulate
