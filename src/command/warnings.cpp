// What makes the description of the engine doubtful.
#include <cmath>
#include <numeric>

#include "command/outcome.hpp"
#include "command/text.hpp"

namespace kurbel::command {

namespace {

/// The other angles of one revolution that the crank's motion cannot tell from this one.
std::string alternatives(double period_deg) {
    const int step_deg = std::gcd(static_cast<int>(std::lround(period_deg)), 360);
    if (step_deg == 360) return "";
    return ", or a multiple of " + std::to_string(step_deg) + " degrees more or less, where the crank moves alike";
}

std::string tdc_warning(const Outcome& outcome) {
    const TdcOffset& tdc = outcome.tdc_offset;
    const double declared_deg = outcome.config.crank_wheel.tdc1_deg;
    double fitting_deg = std::fmod(declared_deg + tdc.offset_deg + 360.0, 360.0);
    if (fitting_deg >= 359.5) fitting_deg = 0.0;
    // Said of what is nearer and of what is farther from the declared TDC, whichever way round.
    const double near_deg = std::fmin(std::fabs(tdc.low_deg), std::fabs(tdc.high_deg));
    const double far_deg = std::fmax(std::fabs(tdc.low_deg), std::fabs(tdc.high_deg));
    return "combustion seems to stand " + format("%.0f", std::fabs(tdc.offset_deg)) + " degrees " +
           (tdc.offset_deg > 0.0 ? "after" : "before") + " the declared TDC of cylinder 1 (" +
           format("%.0f to %.0f", near_deg, far_deg) + " are plausible; tdc1_deg = " + format("%.6g", declared_deg) +
           "). Check tdc1_deg, and which tooth it is counted from: about " + format("%.0f", fitting_deg) +
           " would fit" + alternatives(tdc.period_deg) + ". Verdicts lean on it.";
}

std::string wheel_warning(const WheelUse& wheel) {
    return wheel.file + " is of another wheel: with it, teeth still stand " + format("%.3f", wheel.fit.rms_left_deg) +
           " degrees (root mean square) from where it says. Verdicts lean on it: learn this engine's own wheel with "
           "kurbel learn-wheel, or leave out --wheel.";
}

}  // namespace

std::vector<std::string> warnings(const Outcome& outcome) {
    std::vector<std::string> all = outcome.notes;
    if (outcome.tdc_offset.beyond()) all.push_back(tdc_warning(outcome));
    if (outcome.wheel && same_wheel(outcome.wheel->fit) == SameWheel::other)
        all.push_back(wheel_warning(*outcome.wheel));
    return all;
}

}  // namespace kurbel::command
