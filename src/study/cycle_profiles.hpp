// Every whole engine cycle of a recording as the energies of its tooth intervals, with what was fuelled and how much.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/read/recording.hpp"

namespace kurbel {

/// One cycle, from place 0 of the revolution that holds cylinder 1's firing TDC.
struct CycleProfile {
    std::int64_t number = 0;  ///< neighbours differ by 1
    double time_s = 0.0;      ///< its beginning on the recording's clock
    double seconds = 0.0;
    double energy = 0.0;         ///< mean over the angle, rad^2/s^2
    double load = 0.0;           ///< mean of its firings' charges; NaN where unknown
    bool cut = false;            ///< all cylinders without fuel
    bool mixed = false;          ///< some of them, or it changed
    std::uint32_t misfires = 0;  ///< bit n: the firing at place n of the firing order was called a misfire
    std::vector<double>
        interval;  ///< energy of each, half of mean speed squared, times J(theta) over the rotating inertia
};

/// The cycles, and the intervals that they share.
struct CycleProfiles {
    std::vector<double> begin_deg;  ///< of each interval, crank degrees after cylinder 1's firing TDC
    std::vector<double> width_deg;
    std::vector<CycleProfile> cycles;
    bool phase_known = false;  ///< else the halves may be exchanged, all in the same way
    bool load_known = false;
    std::int64_t judged = 0;
};

/// Runs the detector over the recording and collects; firings before the phase was known, and parts between losses where it never
/// is, are left out. Throws read::InputError where the configuration is refused.
[[nodiscard]] CycleProfiles collect_cycles(const read::Recording& recording, const std::string& name);

}  // namespace kurbel
