// How far compression and combustion seem to stand from the declared TDC.
#pragma once

#include "kurbel/core/config.hpp"
#include "kurbel/study/firing_orders.hpp"

namespace kurbel {

/// Crank degrees from the declared to the seen firing TDC; positive: seen later, so that `tdc1_deg` would have to grow.
/// Only known modulo `period_deg`, for the motion of an evenly firing engine repeats with every firing. NaN: unknown.
struct TdcOffset {
    double offset_deg = kUnknown;  ///< middle of the range
    double low_deg = kUnknown;     ///< the range in which some plausible engine and burn explain what was seen
    double high_deg = kUnknown;
    double period_deg = kUnknown;  ///< 720 over the number of cylinders where firing is even, else one cycle
    double misfit = kUnknown;      ///< of the best explanation, squared standard errors

    [[nodiscard]] bool known() const noexcept { return offset_deg == offset_deg; }
    /// Everything plausible lies more than `tolerance_deg` from the declared TDC; false where unknown.
    [[nodiscard]] bool beyond(double tolerance_deg = 15.0) const noexcept {
        return low_deg > tolerance_deg || high_deg < -tolerance_deg;
    }
};

/// Estimates the offset from averaged orders.
[[nodiscard]] TdcOffset estimate_tdc_offset(const Config& config, const FiringOrders& seen);

}  // namespace kurbel
