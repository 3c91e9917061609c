// The part of a recording in which the starter alone turned the engine, as engine cycles of tooth intervals.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/read/analysis.hpp"

namespace kurbel {

/// From one tooth to the next.
struct CrankedInterval {
    double begin_deg = 0.0;  ///< crank degrees from the beginning of its cycle
    double width_deg = 0.0;
    double energy = 0.0;  ///< half of mean speed squared, rad^2/s^2
    double speed = 0.0;   ///< mean, rad/s
    int from = 0;         ///< tooth of the wheel that begins it
    int to = 0;
};

/// One engine cycle: from cylinder 1's firing TDC (or the other one, where the phase is not known) to the next.
struct CrankedCycle {
    double time_s = 0.0;  ///< on the recording's clock
    double seconds = 0.0;
    std::vector<CrankedInterval> interval;
};

struct CrankedPart {
    std::vector<CrankedCycle> cycles;  ///< whole ones only, the first revolutions left out
    bool phase_known = false;          ///< told by the cam
    double begin_s = 0.0;              ///< of the part that the starter turned alone, on the recording's clock
    double end_s = 0.0;
    bool started = false;  ///< the engine ran afterwards
    int missed = 0;
    int extra = 0;
};

/// Mean speed over a revolution above which an engine runs by itself: no starter turns a crank so fast, and few engines
/// idle so slowly (common practice, no source).
inline constexpr double kRunning_rpm = 450.0;

/// Cuts out that part. Empty cycles: the engine runs from the beginning (`end_s` is `begin_s`), or too little is there.
[[nodiscard]] CrankedPart cranked_part(const Config& config, const read::EdgeView& edges);

}  // namespace kurbel
