// A TDC that seems to be elsewhere than told, in words.
#include <cmath>
#include <numeric>

#include "kurbel/study/tdc_offset.hpp"
#include "study/doubtful_tdc.hpp"
#include "text/text.hpp"

namespace kurbel {

using text::format;

namespace {

/// The other angles of one revolution that the crank's motion cannot tell from this one.
std::string alternatives(double period_deg) {
    const int step_deg = std::gcd(static_cast<int>(std::lround(period_deg)), 360);
    if (step_deg == 360) return "";
    return ", or a multiple of " + std::to_string(step_deg) + " degrees more or less, where the crank moves alike";
}

}  // namespace

std::string tdc_warning(const Config& config, const TdcOffset& tdc) {
    const double declared_deg = config.crank_wheel.tdc1_deg;
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

std::string doubtful_tdc(std::initializer_list<const std::vector<JudgedRecording>*> sides) {
    for (const std::vector<JudgedRecording>* side : sides)
        for (const JudgedRecording& recording : *side)
            if (const std::string doubt = doubtful_tdc(recording); !doubt.empty()) return doubt;
    return "";
}

std::string doubtful_tdc(const JudgedRecording& recording) {
    if (!recording.tdc_offset.beyond()) return "";
    return "This cannot be judged until tdc1_deg of " + recording.name +
           " is checked: " + tdc_warning(recording.config, recording.tdc_offset);
}

}  // namespace kurbel
