// What inspect prints.
#include <cmath>

#include "kurbel/discover/tell.hpp"
#include "text/text.hpp"

namespace kurbel::discover {

namespace {

using text::format;
constexpr std::size_t kWidth = 100;
constexpr std::size_t kIndent = 14;

/// A finding under its heading: answer, how sure, why, what would raise it.
std::string block(const char* heading, const std::string& answer, const Finding& finding) {
    const std::string sure = finding.confidence > 0.0
                                 ? format("  [%s, %.3g %%]", name(finding.sureness), 100.0 * finding.confidence)
                                 : "  [not sure]";
    std::string out = format("%-*s", static_cast<int>(kIndent), heading) + answer + sure + "\n";
    const std::string space(kIndent, ' ');
    if (!finding.why.empty()) out += text::wrapped(space + finding.why, kWidth, kIndent) + "\n";
    if (!finding.raise.empty()) out += text::wrapped(space + "To be surer: " + finding.raise, kWidth, kIndent) + "\n";
    return out;
}

std::string cam_answer(const CamFinding& cam) {
    if (cam.edges_seen == 0) return "none";
    if (cam.edge_deg.empty()) return format("%lld edges, no pattern", static_cast<long long>(cam.edges_seen));
    std::string degrees;
    for (const double deg : cam.edge_deg) degrees += (degrees.empty() ? "" : ", ") + format("%.1f", deg);
    return (cam.tells_cycle ? "cam, edges at " : "reference once a turn, at ") + degrees + " deg from place 0";
}

std::string engine_answer(const EngineFinding& engine) {
    if (engine.cylinders == 0) return "not found";
    return format("%d %s in two turns, %s", engine.cylinders, engine.cylinders == 1 ? "firing" : "firings",
                  engine.layout.c_str());
}

std::string tdc_answer(const TdcFinding& tdc) {
    if (!tdc.found()) return "not found";
    return format("a firing TDC %.0f deg after place 0 (%.0f to %.0f), and every %.4g deg from there", tdc.deg,
                  tdc.low_deg, tdc.high_deg, tdc.period_deg);
}

}  // namespace

std::string report_text(const Discovery& found, const Config* described) {
    std::string out = format("%lld crank edges in %.1f s", static_cast<long long>(found.crank_edges), found.seconds);
    if (found.lowest_rpm == found.lowest_rpm)
        out += format(", %.0f to %.0f rpm, %.0f turns, %s of them without a missed or false edge", found.lowest_rpm,
                      found.highest_rpm, found.wheel.turns, text::percent(found.wheel.whole_share).c_str());
    out += "\n\n";
    if (found.channels_swapped)
        out += text::wrapped(
                   "Crank and cam are exchanged: the line that is called cam passes more edges than a crank wheel "
                   "would leave it. What follows is told with each in the other's place.",
                   kWidth, 0) +
               "\n\n";
    out += block("Crank wheel", found.wheel.name(), found.wheel);
    if (found.wheel.found()) {
        out += block("Second line", cam_answer(found.cam), found.cam);
        out += block("Engine", engine_answer(found.engine), found.engine);
        out += block("TDC", tdc_answer(found.tdc), found.tdc);
    }
    if (described != nullptr) {
        const std::vector<std::string> against = contradictions(found, *described);
        out += "\n";
        for (const std::string& each : against)
            out += text::wrapped("Against the description: " + each, kWidth, 2) + "\n";
        if (against.empty()) out += "Nothing of this contradicts the recording's description.\n";
    }
    return out + "\n" + text::wrapped("Next: " + found.next_step, kWidth, 2) + "\n";
}

}  // namespace kurbel::discover
