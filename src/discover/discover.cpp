#include <algorithm>
#include <cmath>

#include "discover/cycle_spectrum.hpp"
#include "discover/layout_search.hpp"
#include "discover/lines.hpp"
#include "discover/second_line.hpp"
#include "discover/wheel_search.hpp"

namespace kurbel::discover {

const char* name(Sureness sureness) noexcept {
    switch (sureness) {
        case Sureness::sure: return "sure";
        case Sureness::likely: return "likely";
        case Sureness::not_sure: break;
    }
    return "not sure";
}

std::string WheelFinding::name() const {
    if (!found()) return "not found";
    if (positions == 0) return std::to_string(teeth) + (teeth == 1 ? " tooth" : " teeth, unevenly spaced");
    if (absent.empty()) return std::to_string(teeth) + " teeth without a gap";
    std::string text = std::to_string(positions);
    // Gaps by their order from place 0; the last is the widest.
    int run = 0;
    for (std::size_t i = 0; i < absent.size(); ++i) {
        ++run;
        if (i + 1 < absent.size() && absent[i + 1] == absent[i] + 1) continue;
        text += "-" + std::to_string(run);
        run = 0;
    }
    return text;
}

namespace {

void tell_speeds(const Lines& lines, const WheelSearch& wheel, Discovery& discovery) {
    std::vector<double> rpm;
    for (const Lap& lap : wheel.turns.laps)
        rpm.push_back(
            60.0 / (lines.crank_s[lap.first + static_cast<std::size_t>(wheel.turns.edges)] - lines.crank_s[lap.first]));
    if (rpm.empty()) return;
    std::sort(rpm.begin(), rpm.end());
    discovery.lowest_rpm = rpm[rpm.size() / 50];
    discovery.highest_rpm = rpm[rpm.size() - 1 - rpm.size() / 50];
}

}  // namespace

Discovery discover(const EdgeLines& edges) {
    Discovery discovery;
    const Lines lines = unwrapped(edges);
    discovery.crank_edges = static_cast<std::int64_t>(lines.crank_s.size());
    discovery.seconds = lines.duration_s;
    WheelSearch wheel = search_wheel(lines);
    if (wheel.finding.found()) {
        tell_speeds(lines, wheel, discovery);
        discovery.cam = place_marks(lines.crank_s, lines.cam_s, wheel.turns, wheel.pattern);
    }
    discovery.wheel = std::move(wheel.finding);
    LayoutSearch layout =
        search_layout(cycle_spectrum(edges, discovery.wheel, discovery.cam), discovery.wheel, discovery.cam);
    discovery.engine = std::move(layout.engine);
    discovery.tdc = std::move(layout.tdc);
    return discovery;
}

}  // namespace kurbel::discover
