// How far compression and combustion seem to stand from the declared TDC.
#pragma once

#include <string>

#include "kurbel/core/config.hpp"
#include "kurbel/study/firing_orders.hpp"

namespace kurbel {

/// Crank degrees from the declared to the seen firing TDC; positive: seen later, so that `tdc1_deg` would have to grow.
/// NaN: unknown.
///
/// How it is told: compression takes energy before TDC and gives it back behind, combustion adds its own a little later;
/// so the phases of the energy's firing orders (FiringOrders) tell where TDC stands. They are compared with all that a
/// four-stroke's gas may do: any charge, nothing burnt up to a full burn, half burnt from 3 to 38 degrees after TDC (late
/// values count as far-fetched), torque of reciprocating masses as described or, where it is not, of any usual size. The
/// range holds every angle from which some of that explains each operating point within three standard errors of the best;
/// errors are those of the model, of the wheel's teeth (as seen at orders where cylinders cancel), of scatter, driveline and
/// crank torsion. So a late burn alone widens the range and never leaves it.
///
/// Cranking tells most (a range of about +-9 degrees), then idle (+-12 to +-25); in gear clutch springs and gearbox blur it,
/// often until nothing is told. Unknown: where the lowest order comes near the crank's torsion (above some 1500 rpm on a
/// six, 3000 on a four, later with a sensor at the flywheel); under six cycles; wheels with fewer than about five teeth a
/// firing; two-strokes, whose scavenging is not modelled. Evenly firing engines repeat their motion with every firing, so the
/// offset is known modulo `period_deg` only.
struct TdcOffset {
    double offset_deg = kUnknown;  ///< middle of the range
    double low_deg = kUnknown;     ///< the range in which some plausible engine and burn explain what was seen
    double high_deg = kUnknown;
    double period_deg =
        kUnknown;              ///< 720 over the number of cylinders where firing is even; half of it for an odd number
                               ///< of cylinders whose phase is unknown; else one cycle. Known without edges too
    double misfit = kUnknown;  ///< of the best explanation, squared standard errors

    [[nodiscard]] bool known() const noexcept { return offset_deg == offset_deg; }
    /// Everything plausible lies more than `tolerance_deg` from the declared TDC; false where unknown.
    [[nodiscard]] bool beyond(double tolerance_deg = 15.0) const noexcept {
        return low_deg > tolerance_deg || high_deg < -tolerance_deg;
    }
};

/// Estimates the offset; `seen` was made of the same (validated) `config`. Takes about a millisecond; allocates.
[[nodiscard]] TdcOffset estimate_tdc_offset(const Config& config, const FiringOrders& seen);

/// What to say where combustion stands elsewhere than told: by how much, and which `tdc1_deg` would fit. `offset` is known.
[[nodiscard]] std::string tdc_warning(const Config& config, const TdcOffset& offset);

}  // namespace kurbel
