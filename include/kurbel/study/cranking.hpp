// Relative compression: what each cylinder holds, from how the starter alone turns the engine.
#pragma once

#include <array>
#include <cstddef>
#include <string>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/read/recording.hpp"
#include "kurbel/study/answer.hpp"

namespace kurbel {

struct CrankingOptions {
    /// Percent below the best cylinder that still count as even, 1 to 60. Within 10 % is called good, a lowest cylinder of 75 %
    /// of the highest acceptable, 20 to 25 % suspect (common practice, no source).
    double limit_percent = 10.0;
};

/// One cylinder's reading. Ranges are 95 % each.
struct CylinderCompression {
    int cylinder = 0;  ///< 1-based; 0 where the phase is unknown, then `candidates` holds both possible ones
    std::array<int, 2> candidates{};  ///< unused places 0
    double percent = kUnknown;        ///< gauge pressure at TDC over the best cylinder's
    double low = kUnknown;
    double high = kUnknown;
    double filling_percent = kUnknown;  ///< charge that is trapped at the bottom, over the most
    double leak_percent = kUnknown;     ///< of its charge lost by TDC beyond what the tightest loses
    double leak_low = kUnknown;
    double leak_high = kUnknown;
    double tdc_bar =
        kUnknown;        ///< gauge, as the model has it; rough (inertia of starter and engine); NaN without inertia
    bool below = false;  ///< below the limit, all cylinders considered together
};

/// What cranking tells.
struct RelativeCompression {
    std::vector<CylinderCompression> cylinders;  ///< by number; pairs that cannot be told apart in firing order
    std::string verdict;                         ///< even, uneven, undecided
    bool phase_known = false;
    int cycles = 0;        ///< used
    int cycles_left = 0;   ///< that fitted nothing and were left out
    double begin_s = 0.0;  ///< of what was used, on the recording's clock
    double end_s = 0.0;
    double mean_rpm = kUnknown;
    bool engine_started = false;  ///< afterwards; only what came before was used
    double exponent = kUnknown;   ///< of compression, as fitted
    double tdc_offset_deg = kUnknown;
    double scatter = kUnknown;  ///< of one tooth interval about the model, share of its energy
    // One cycle for a picture: crank degrees from its beginning, speed as measured and as the model has it.
    std::vector<double> shown_deg;
    std::vector<double> shown_rpm;
    std::vector<double> model_rpm;
};

/// Fits gas, starter and friction to the energy of the crank (src/study/compression_fit.hpp tells how), and weighs what was read
/// against most cylinders of an engine being alike, so that the best one's error lowers no other (src/study/alike_cylinders.hpp).
/// Equal wear of all cylinders is invisible: everything is relative to the best. Where no cam tells the phase and firing angles are the same a revolution
/// on, the two readings of such a pair cannot be told apart by cylinder; with an odd number of cylinders the dips tell it.
///
/// Throws WrongQuestion (options), read::InputError (`name` in front) where the engine runs from the beginning, turns too few
/// cycles (four are needed), or moves as no starter moves it.
[[nodiscard]] RelativeCompression measure_compression(const read::Recording& recording, const std::string& name,
                                                      const CrankingOptions& options = {});

/// The same as an answer. Verdict `even` (all within the limit), `uneven` (at least one certainly below) or `undecided`.
/// evidence: `cylinders[] = {cylinder, percent, low, high, filling_percent, leak_percent, ...}`, `limit_percent`, `phase`, ...
[[nodiscard]] Answer study_cranking(const read::Recording& recording, const std::string& name,
                                    const CrankingOptions& options = {});

}  // namespace kurbel
