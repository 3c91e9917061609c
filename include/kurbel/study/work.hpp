// Work per cylinder: how evenly the cylinders of a running engine share its work, and how much each scatters.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "kurbel/core/types.hpp"
#include "kurbel/read/recording.hpp"
#include "kurbel/study/answer.hpp"

namespace kurbel {

struct WorkOptions {
    /// Difference in percent of a cylinder's work that counts, 0.5 to 30. Cylinders of a sound engine differ by 1 to 4 %
    /// (engineering range, from memory).
    double limit_percent = 2.0;
};

/// One cylinder. Ranges are 95 % each, of what the cylinder does in the long run: what it did in the seconds recorded is a sample of
/// that. All NaN where unknown.
struct CylinderWork {
    int cylinder = 0;  ///< 1-based; 0 where the phase is unknown, then `candidates` holds both possible ones
    std::array<int, 2> candidates{};  ///< unused places 0
    double percent = kUnknown;        ///< mean work beyond the mean of the others, percent of that
    double low = kUnknown;
    double high = kUnknown;
    double work_j = kUnknown;  ///< mean indicated work, misfires included; its size rests on inertia and load
    double work_low_j = kUnknown;
    double work_high_j = kUnknown;
    int partner =
        0;  ///< the cylinder one revolution on (0: none): the difference to it is free of the wheel's own error
    double to_partner_percent = kUnknown;  ///< work beyond the partner's, percent of the mean
    double to_partner_low = kUnknown;
    double to_partner_high = kUnknown;
    double scatter_percent =
        kUnknown;  ///< cycle to cycle, standard deviation over mean, measurement noise taken out, no misfires
    double scatter_low = kUnknown;
    double scatter_high = kUnknown;
    double misfire_rate = 0.0;  ///< share of the cycles used in which its firing was called a misfire
    /// By more than the limit with 95 % certainty, and certainly no accident with all comparisons considered together.
    bool differs = false;
};

/// What a recording tells of it.
struct WorkBalance {
    std::vector<CylinderWork> cylinders;  ///< by number; pairs that cannot be told apart in firing order
    std::string verdict;                  ///< even, uneven, undecided
    bool phase_known = false;
    bool wheel_decides =
        false;  ///< pairs a revolution apart are compared with the others through the wheel's own error
    int cycles = 0;
    double mean_rpm = kUnknown;
    double mean_load = kUnknown;
    double mean_work_j = kUnknown;  ///< of a firing; NaN without inertia and geometry
    double size_doubt = kUnknown;   ///< standard error of that, share
    double misfit = kUnknown;  ///< of the orders about the explanation, squared standard errors a degree of freedom
    int scatter_cycles = 0;    ///< steady cycles that the scatter was taken from
};

/// Balance by orders: the crank's energy at order h (half orders included) holds the z cylinders as the z-point Fourier transform of
/// their work times the known shape of one combustion (facts: Connolly & Rizzoni 1994; DFT by firing, Ribbens & Rizzoni 1990, both from
/// abstracts). Wheel error repeats every revolution, so half orders are free of it; at integer orders it grows with speed squared
/// while work does not, which tells them apart where speed and load vary, and is admitted in the ranges where they do not: the teeth
/// as far off as neighbouring intervals show them to be (src/study/tooth_error.hpp), and a run-out of 0.05 degrees (from memory),
/// which no recording at one speed shows. Scatter: each firing's work as a step in the crank's energy, found
/// from the lag of every tooth behind the usual cycle, whose own noise is white and seen in what is left.
///
/// Throws WrongQuestion (options), read::InputError (too few whole cycles, cranking, one cylinder).
[[nodiscard]] WorkBalance measure_work(const read::Recording& recording, const std::string& name,
                                       const WorkOptions& options = {});

/// The same as an answer. Verdict `uneven` (some cylinder `differs`), `even` (none does, and one by 10 % would
/// have) or `undecided`. evidence: `cylinders[] = {cylinder, percent, low, high, work_j, ..., scatter_percent, ...}`.
[[nodiscard]] Answer study_work(const read::Recording& recording, const std::string& name,
                                const WorkOptions& options = {});

}  // namespace kurbel
