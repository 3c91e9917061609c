#include <algorithm>
#include <cmath>

#include "discover/cycle_spectrum.hpp"
#include "discover/layout_search.hpp"
#include "discover/lines.hpp"
#include "discover/second_line.hpp"
#include "discover/wheel_search.hpp"
#include "kurbel/signal/waveform_types.hpp"

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
    // The widest gap, which ends at place 0, is named first; then the others in their order.
    std::vector<int> gaps;
    int run = 0;
    for (std::size_t i = 0; i < absent.size(); ++i) {
        ++run;
        if (i + 1 < absent.size() && absent[i + 1] == absent[i] + 1) continue;
        gaps.push_back(run);
        run = 0;
    }
    std::rotate(gaps.begin(), gaps.end() - 1, gaps.end());
    std::string text = std::to_string(positions);
    for (const int gap : gaps) text += "-" + std::to_string(gap);
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

/// Mean period of each stretch over that of one even place, from place 0.
void tell_periods(const Lines& lines, const WheelSearch& wheel, Discovery& discovery) {
    const auto teeth = static_cast<std::size_t>(wheel.turns.edges);
    constexpr std::size_t kMostTurns = 2000;
    const std::size_t step = std::max<std::size_t>(1, wheel.turns.laps.size() / kMostTurns);
    std::vector<double> sum(teeth);
    std::vector<double> square(teeth);
    double turns = 0.0;
    const double places = wheel.finding.positions > 0 ? wheel.finding.positions : wheel.finding.teeth;
    for (std::size_t j = 0; j < wheel.turns.laps.size(); j += step) {
        const std::size_t first = wheel.turns.laps[j].first;
        const double place_s = (lines.crank_s[first + teeth] - lines.crank_s[first]) / places;
        for (std::size_t i = 0; i < teeth; ++i) {
            const double ratio = (lines.crank_s[first + i + 1] - lines.crank_s[first + i]) / place_s;
            sum[i] += ratio;
            square[i] += ratio * ratio;
        }
        turns += 1.0;
    }
    for (std::size_t i = 0; i < teeth && turns > 0.0; ++i) {
        const std::size_t at = (static_cast<std::size_t>(wheel.pattern.first) + i) % teeth;
        const double mean = sum[at] / turns;
        const double begin = wheel.finding.angle_deg[i];
        const double end = i + 1 < teeth ? wheel.finding.angle_deg[i + 1] : 360.0;
        discovery.periods.push_back(
            {begin, end - begin, mean, std::sqrt(std::max(0.0, square[at] / turns - mean * mean))});
    }
}

/// What helps most now.
std::string next_step(const Discovery& found) {
    if (!found.wheel.found() || found.wheel.sureness == Sureness::not_sure) return found.wheel.raise;
    if (found.cam.edges_seen > 0 && found.cam.sureness == Sureness::not_sure) return found.cam.raise;
    if (found.engine.sureness == Sureness::not_sure) return found.engine.raise;
    if (found.tdc.sureness == Sureness::not_sure) return found.tdc.raise;
    return "Turn the engine by hand to cylinder 1's timing mark (ignition off, key out) to see which of the TDCs is "
           "cylinder 1's; write it, with the firing order, into the draft.";
}

}  // namespace

namespace {

/// The same edges with crank and cam in each other's place.
Discovery discover_exchanged(const EdgeLines& edges) {
    std::vector<std::uint8_t> signal(edges.signal, edges.signal + edges.edges);
    for (std::uint8_t& each : signal)
        each = static_cast<std::uint8_t>(each == static_cast<std::uint8_t>(Signal::cam) ? Signal::crank : Signal::cam);
    EdgeLines exchanged = edges;
    exchanged.signal = signal.data();
    Discovery discovery = discover(exchanged);
    discovery.channels_swapped = true;
    discovery.next_step = "Exchange crank and cam in the recording or its mapping. " + discovery.next_step;
    return discovery;
}

}  // namespace

Discovery discover(const EdgeLines& edges) {
    Discovery discovery;
    const Lines lines = unwrapped(edges);
    if (signal::channels_swapped(static_cast<std::int64_t>(lines.crank_s.size()),
                                 static_cast<std::int64_t>(lines.cam_s.size())))
        return discover_exchanged(edges);
    discovery.crank_edges = static_cast<std::int64_t>(lines.crank_s.size());
    discovery.seconds = lines.duration_s;
    WheelSearch wheel = search_wheel(lines);
    if (wheel.finding.found()) {
        tell_speeds(lines, wheel, discovery);
        tell_periods(lines, wheel, discovery);
        discovery.cam = place_marks(lines.crank_s, lines.cam_s, wheel.turns, wheel.pattern);
    }
    LayoutSearch layout = search_layout(cycle_spectrum(edges, lines, wheel, discovery.cam), discovery.cam);
    discovery.wheel = std::move(wheel.finding);
    discovery.engine = std::move(layout.engine);
    discovery.tdc = std::move(layout.tdc);
    discovery.next_step = next_step(discovery);
    return discovery;
}

}  // namespace kurbel::discover
