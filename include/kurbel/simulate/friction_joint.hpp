// A spring and damper side by side, in line with dry friction: clutch discs, synchronisers, a dual-mass flywheel's friction.
#pragma once

#include <algorithm>

namespace kurbel::simulate {

/// Torque k twist + c twist' while that is within the friction's limit; else the limit, and the twist follows from it. Both
/// its torque and its rate are continuous, so that a fixed step meets sticking and slipping alike.
struct FrictionJoint {
    double nm_rad = 0.0;    ///< k
    double nm_s_rad = 0.0;  ///< c, above 0

    /// A joint without a damper of its own gets one with a time constant of 0.1 ms, against which nothing here is fast.
    [[nodiscard]] static constexpr FrictionJoint make(double nm_rad, double nm_s_rad) noexcept {
        return {nm_rad, std::max(nm_s_rad, 1e-4 * nm_rad)};
    }

    struct Now {
        double torque_nm;
        double twist_rad_s;
    };
    /// At `twist_rad`, its ends moving apart at `slip_rad_s`.
    [[nodiscard]] constexpr Now at(double twist_rad, double slip_rad_s, double limit_nm) const noexcept {
        const double torque = nm_rad * twist_rad + nm_s_rad * slip_rad_s;
        if (torque >= -limit_nm && torque <= limit_nm) return {torque, slip_rad_s};
        const double held = torque > 0.0 ? limit_nm : -limit_nm;
        return {held, (held - nm_rad * twist_rad) / nm_s_rad};
    }

    /// Rate at which the twist settles while it slips, 1/s: bounds the time step.
    [[nodiscard]] constexpr double rate_1_s() const noexcept { return nm_rad / nm_s_rad; }
};

}  // namespace kurbel::simulate
