// Load from the crank's own motion, where no channel tells it: relative, and to be called an estimate wherever it is shown.
#pragma once

#include <string>
#include <vector>

#include "kurbel/core/types.hpp"
#include "kurbel/read/recording.hpp"

namespace kurbel::channel {

/// One value an engine cycle.
struct CrankLoad {
    std::vector<double> time_s;  ///< middle of each cycle on the recording's clock
    std::vector<double> load;    ///< 1 = the 95 % point of this recording's own; not below 0
    std::vector<double> doubt;   ///< standard error of the same, in its unit
    bool pistons_known =
        false;  ///< what the pistons do to the crank was taken off by mass and inertia, else by estimate or not at all
    std::string why_not;  ///< where there is none
    [[nodiscard]] bool known() const noexcept { return !load.empty(); }
};

/// Charge of each cycle, relative to the highest of the recording.
///
/// Gas of all cylinders adds up at the wave of the firings, and both the work of compression and that of combustion go with the charge.
/// So that wave of the crank's energy over inertia is y(cycle) = charge * g + mean energy * b: b, from the pistons' masses and
/// the wheel's own errors, grows with the square of speed, and g does not. g's direction is that in which y moves once what goes with speed is
/// taken out; along it b is the pistons' alone (Heywood 1988, ch. 2 and 15, from memory; the separation by its growth with speed is our
/// own). Cycles without fuel or with a misfire take no part in the fit; the answer is a running median of nine cycles.
///
/// Absolute it is not: inertia, burn and friction of the reading scale it. Two recordings are comparable only for one engine and wheel, by the
/// wave itself. `doubt` holds the wheel's usual errors and the scatter of cycles.
/// Unknown (`why_not`) where the wheel has too few teeth for the firings, with fewer than 40 whole cycles, or where the phase that is
/// needed is not known. Throws read::InputError where the configuration is refused; `name` is the recording's in its text. Thread-safe.
[[nodiscard]] CrankLoad load_from_crank(const read::Recording& recording, const std::string& name);

}  // namespace kurbel::channel
