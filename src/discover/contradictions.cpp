#include <algorithm>
#include <cmath>

#include "kurbel/discover/tell.hpp"
#include "text/text.hpp"

namespace kurbel::discover {

namespace {

using text::format;

WheelFinding as_finding(const WheelConfig& wheel) {
    WheelFinding finding;
    finding.teeth = wheel.teeth;
    finding.positions = wheel.positions;
    std::vector<bool> there(static_cast<std::size_t>(std::max(0, wheel.positions)));
    for (int i = 0; i < wheel.teeth; ++i) {
        const auto deg = static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(i)]);
        finding.angle_deg.push_back(deg);
        if (wheel.positions > 0)
            there[static_cast<std::size_t>(std::lround(deg / 360.0 * wheel.positions) % wheel.positions)] = true;
    }
    for (std::size_t place = 0; place < there.size(); ++place)
        if (!there[place]) finding.absent.push_back(static_cast<int>(place));
    return finding;
}

/// Degrees from the found place 0 to the described one, where the wheels are the same; else nothing.
std::optional<double> turn_between(const WheelFinding& found, const WheelFinding& described) {
    if (found.teeth != described.teeth || found.positions != described.positions) return {};
    // Even places must agree, uneven ones are measured with the engine's swing.
    const double near_deg = found.positions > 0 ? 0.1 : 6.0;
    for (std::size_t turn = 0; turn < described.angle_deg.size(); ++turn) {
        const double first = found.angle_deg[turn] - described.angle_deg[0];
        bool same = true;
        for (std::size_t i = 0; i < described.angle_deg.size() && same; ++i) {
            const double apart = found.angle_deg[(turn + i) % found.angle_deg.size()] - described.angle_deg[i] - first;
            same = std::abs(std::remainder(apart, 360.0)) < near_deg;
        }
        if (same) return first;
    }
    return {};
}

}  // namespace

std::vector<std::string> contradictions(const Discovery& found, const Config& described) {
    std::vector<std::string> all;
    const WheelFinding wheel = as_finding(described.crank_wheel);
    if (!found.wheel.found() || found.wheel.sureness == Sureness::not_sure) return all;
    const std::optional<double> turn = turn_between(found.wheel, wheel);
    if (!turn) {
        const std::string same = found.wheel.name() == wheel.name() ? " of another order" : "";
        all.push_back("The description says " + wheel.name() + ", the edges say " + found.wheel.name() + same + ".");
        return all;
    }
    if (described.cam_wheel.edges == 0 && found.cam.tells_cycle)
        all.emplace_back("The description has no [cam_wheel], but the second line repeats with the engine's cycle.");
    const bool engine_told = found.engine.cylinders > 0 && found.engine.sureness != Sureness::not_sure;
    if (engine_told && described.engine.strokes == 4 && described.engine.cylinders != found.engine.cylinders)
        all.push_back(format("The description says %d cylinders, the crank moves as with %d.",
                             described.engine.cylinders, found.engine.cylinders));
    // A wheel of even teeth without a gap has no place 0 to compare TDC by.
    const bool placed = !found.wheel.absent.empty() || found.wheel.positions == 0;
    if (found.tdc.found() && found.tdc.sureness != Sureness::not_sure && placed) {
        double off = 360.0;
        for (int i = 0; i < described.engine.cylinders; ++i) {
            const double told =
                *turn + described.crank_wheel.tdc1_deg + described.engine.firing_tdc_deg[static_cast<std::size_t>(i)];
            for (const double half : {0.0, 360.0}) {
                const double here = std::remainder(found.tdc.deg + half - told, found.tdc.period_deg);
                if (std::abs(here) < std::abs(off)) off = here;
            }
        }
        constexpr double kClose_deg = 15.0;  // as analyze warns
        if (std::abs(off) > kClose_deg)
            all.push_back(format("By the description a TDC lies %.0f degrees from where compression shows it.", off));
    }
    return all;
}

}  // namespace kurbel::discover
