// What turns the engine until it runs. Defaults are engineering ranges (values from memory, no single source).
#pragma once

namespace kurbel::simulate {

/// Direct-current starter as a straight line; freewheels when the engine is faster.
struct StarterSettings {
    double stall_nm = 170.0;  ///< at the crank
    double free_rpm = 280.0;  ///< at the crank
    double from_s = 0.0;
    double to_s = 1e9;
    double ratio_inertia_kg_m2 = 0.02;  ///< armature through the pinion, felt while engaged
};

}  // namespace kurbel::simulate
