// Two engine cycles of a scenario as a picture: speed, torque and pressures over crank angle.
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <stdexcept>
#include <vector>

#include "command/describe.hpp"
#include "command/svg.hpp"
#include "command/text.hpp"
#include "kurbel/simulate/simulator.hpp"

namespace kurbel::command {

namespace {

using namespace simulate;
using svg::text_at;

constexpr double kWidth = 1000.0;
constexpr double kLeft = 84.0;
constexpr double kRight = 24.0;
constexpr double kTop = 96.0;
constexpr double kPanel = 190.0;
constexpr double kBetween = 40.0;
constexpr double kBottom = 52.0;
constexpr double kRpm = portable::kPi / 30.0;
constexpr double kDeg = portable::kPi / 180.0;
// Told apart by colour-blind readers too (Okabe & Ito, Color Universal Design, 2008).
constexpr std::array<const char*, 7> kColours{"#0072b2", "#d55e00", "#009e73", "#cc79a7",
                                              "#e69f00", "#56b4e9", "#444444"};
constexpr const char* kLostColour = "#c44601";

struct Moment {
    double deg = 0.0;  ///< flywheel's crank angle from the first cycle's start
    double flywheel_rpm = 0.0;
    double front_rpm = 0.0;
    double torque_nm = 0.0;
    std::vector<double> gauge_bar;  ///< by cylinder
};

struct Firing {
    double deg;
    int cylinder;
    bool lost;
};

struct TwoCycles {
    std::vector<Moment> moments;
    std::vector<Firing> firings;
    double from_s = 0.0;
    double mean_rpm = 0.0;
};

/// Time as simulated, no edges needed.
Scenario plain_clock(Scenario s) {
    constexpr double kLongest_s = 20.0;
    s.seconds = std::min(s.seconds, kLongest_s);
    s.has_timer = false;
    s.timer = {};
    s.capture = {};
    return s;
}

bool lost_on_purpose(const read::TruthRow& row) { return row.severity >= 0.5 && !row.fuel_cut; }

/// TDC of cylinder 1 that begins the first cycle with a lost firing, else the first one.
double first_tdc_s(const std::vector<read::TruthRow>& truth) {
    double begin = -1.0;
    double first = -1.0;
    for (const read::TruthRow& row : truth) {
        if (row.cylinder == 1) begin = row.time_s;
        if (first < 0.0) first = begin;
        if (begin >= 0.0 && lost_on_purpose(row)) return begin;
    }
    if (first < 0.0) throw std::runtime_error("the engine does not turn: there is nothing to draw");
    return first;
}

Moment look(const EngineModel& model, double from_rad) {
    const auto flywheel = static_cast<std::size_t>(model.layout().flywheel);
    const auto front = static_cast<std::size_t>(model.layout().front);
    Moment moment;
    moment.deg = (model.angle_rad[flywheel] - from_rad) / kDeg;
    moment.flywheel_rpm = model.speed_rad_s[flywheel] / kRpm;
    moment.front_rpm = model.speed_rad_s[front] / kRpm;
    for (std::size_t c = 0; c < static_cast<std::size_t>(model.cylinders()); ++c) {
        const double speed = model.speed_rad_s[static_cast<std::size_t>(model.layout().mass_of_cylinder[c])];
        const double angle = model.cylinder_rad(c);
        const CylinderTorque torque = model.cylinder().torque(angle, speed, model.manifold_pa, model.charge[c]);
        moment.torque_nm += torque.gas_nm - torque.inertia_slope_kg_m2 * speed * speed;
        const double pressure = model.cylinder().pressure_pa(angle, speed, model.manifold_pa, model.charge[c]);
        moment.gauge_bar.push_back(1e-5 * (pressure - model.cylinder().ambient_pa()));
    }
    return moment;
}

TwoCycles two_cycles(const Scenario& scenario) {
    const Scenario s = plain_clock(scenario);
    TwoCycles result;
    result.from_s = first_tdc_s(simulate::simulate(s).truth);
    double from_rad = 0.0;
    bool begun = false;
    bool ended = false;
    double end_s = 0.0;
    const double span_deg = 2.0 * s.engine.cycle_deg();
    constexpr double kResolution_deg = 0.5;
    const read::Recording recording = simulate::simulate(s, {}, [&](const EngineModel& model, double time_s) {
        if (time_s < result.from_s || ended) return;
        const double angle = model.angle_rad[static_cast<std::size_t>(model.layout().flywheel)];
        const double cycle = model.cylinder().cycle_rad();
        if (!begun) from_rad = std::floor(angle / cycle + 0.5) * cycle;
        begun = true;
        // The model lowers its angles by whole cycles now and then.
        const double last_deg = result.moments.empty() ? 0.0 : result.moments.back().deg;
        const double here_deg = (angle - from_rad) / kDeg;
        if (here_deg < last_deg - 180.0) from_rad -= std::floor((last_deg - here_deg) * kDeg / cycle + 0.5) * cycle;
        if (!result.moments.empty() && (angle - from_rad) / kDeg < last_deg + kResolution_deg) return;
        result.moments.push_back(look(model, from_rad));
        ended = result.moments.back().deg >= span_deg;
        end_s = time_s;
    });
    if (result.moments.size() < 10) throw std::runtime_error("the engine does not turn: there is nothing to draw");
    result.mean_rpm = result.moments.back().deg / 6.0 / (end_s - result.from_s);
    const auto cylinders = static_cast<std::size_t>(s.engine.cylinders);
    std::size_t count = 0;  // firings come in firing order, from cylinder 1 on
    for (const read::TruthRow& row : recording.truth) {
        if (row.time_s < result.from_s - 1e-9 || row.time_s > end_s) continue;
        const double turned = s.engine.cycle_deg() * static_cast<double>(count / cylinders);
        result.firings.push_back(
            {turned + s.engine.firing_tdc_deg[count % cylinders], row.cylinder, lost_on_purpose(row)});
        ++count;
    }
    return result;
}

/// One panel: its own vertical axis over the common angle.
class Panel {
  public:
    Panel(double top, double low, double high, double span_deg) : top_(top), span_deg_(span_deg) {
        const double room = std::max(high - low, 1e-6);
        step_ = svg::round_step(1.1 * room, 5.0);
        low_ = std::floor((low - 0.03 * room) / step_) * step_;
        high_ = std::ceil((high + 0.03 * room) / step_) * step_;
    }

    [[nodiscard]] double x(double deg) const { return kLeft + deg / span_deg_ * (kWidth - kLeft - kRight); }
    [[nodiscard]] double y(double value) const { return top_ + (high_ - value) / (high_ - low_) * kPanel; }

    [[nodiscard]] std::string frame(const std::string& title) const {
        std::string out;
        for (double deg = 0.0; deg <= span_deg_ + 1e-9; deg += 90.0)
            out += format("<path d=\"M%.1f %.1fV%.1f\" class=\"grid\"/>\n", x(deg), top_, top_ + kPanel);
        for (double value = low_; value <= high_ + 0.01 * step_; value += step_) {
            out += format("<path d=\"M%.1f %.1fH%.1f\" class=\"%s\"/>\n", kLeft, y(value), kWidth - kRight,
                          std::fabs(value) < 0.01 * step_ ? "zero" : "grid");
            out += text_at(kLeft - 8.0, y(value) + 4.0, "text-anchor=\"end\"",
                           format("%.6g", std::fabs(value) < 1e-9 ? 0.0 : value));
        }
        out += format("<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" class=\"frame\"/>\n", kLeft, top_,
                      kWidth - kLeft - kRight, kPanel);
        return out + text_at(kLeft, top_ - 8.0, "class=\"strong\"", title);
    }

    [[nodiscard]] std::string curve(const TwoCycles& cycles, const std::function<double(const Moment&)>& value,
                                    const char* colour, const char* more = "") const {
        std::string path;
        for (const Moment& moment : cycles.moments)
            path +=
                format("%s%.1f %.1f", path.empty() ? "M" : "L", x(std::min(moment.deg, span_deg_)), y(value(moment)));
        return format("<path class=\"curve\" stroke=\"%s\" %s d=\"", colour, more) + path + "\"/>\n";
    }

  private:
    double top_;
    double span_deg_;
    double low_ = 0.0;
    double high_ = 1.0;
    double step_ = 1.0;
};

/// Lowest and highest of a value over all moments.
std::pair<double, double> range(const TwoCycles& cycles, const std::function<double(const Moment&)>& value) {
    double low = 1e300;
    double high = -1e300;
    for (const Moment& moment : cycles.moments) {
        low = std::min(low, value(moment));
        high = std::max(high, value(moment));
    }
    return {low, high};
}

std::string speed_panel(const TwoCycles& cycles, double top, double span_deg) {
    const auto flywheel = [](const Moment& m) { return m.flywheel_rpm; };
    const auto front = [](const Moment& m) { return m.front_rpm; };
    const auto [low1, high1] = range(cycles, flywheel);
    const auto [low2, high2] = range(cycles, front);
    const Panel panel(top, std::min(low1, low2), std::max(high1, high2), span_deg);
    std::string out = panel.frame("Speed / rpm") + panel.curve(cycles, front, kColours[1], "stroke-dasharray=\"4 3\"") +
                      panel.curve(cycles, flywheel, kColours[0]);
    const double y = top - 12.0;
    out += format("<path class=\"curve\" stroke=\"%s\" d=\"M%.1f %.1fh24\"/>", kColours[0], kWidth - 300.0, y) +
           text_at(kWidth - 270.0, y + 4.0, "", "flywheel");
    out += format("<path class=\"curve\" stroke=\"%s\" stroke-dasharray=\"4 3\" d=\"M%.1f %.1fh24\"/>", kColours[1],
                  kWidth - 180.0, y) +
           text_at(kWidth - 150.0, y + 4.0, "", "front end of the crank");
    return out;
}

std::string torque_panel(const TwoCycles& cycles, double top, double span_deg) {
    const auto torque = [](const Moment& m) { return m.torque_nm; };
    const auto [low, high] = range(cycles, torque);
    const Panel panel(top, std::min(low, 0.0), std::max(high, 0.0), span_deg);
    return panel.frame("Torque of gas and pistons on the crank, all cylinders together / Nm") +
           panel.curve(cycles, torque, kColours[2]);
}

std::string pressure_panel(const TwoCycles& cycles, double top, double span_deg) {
    double high = 0.0;
    double low = 0.0;
    for (const Moment& moment : cycles.moments)
        for (const double bar : moment.gauge_bar) {
            high = std::max(high, bar);
            low = std::min(low, bar);
        }
    const Panel panel(top, low, 1.08 * high, span_deg);
    std::string out = panel.frame("Pressure in each cylinder above ambient / bar");
    for (std::size_t c = 0; c < cycles.moments.front().gauge_bar.size(); ++c)
        out += panel.curve(
            cycles, [c](const Moment& m) { return m.gauge_bar[c]; }, kColours[c % kColours.size()]);
    // Each firing's number stands on its peak.
    for (const Firing& firing : cycles.firings) {
        const auto c = static_cast<std::size_t>(firing.cylinder - 1);
        const Moment* peak = nullptr;
        for (const Moment& moment : cycles.moments)
            if (std::fabs(moment.deg - firing.deg) < 60.0 &&
                (peak == nullptr || moment.gauge_bar[c] > peak->gauge_bar[c]))
                peak = &moment;
        if (peak == nullptr || peak->deg > span_deg - 8.0) continue;
        const std::string style = format("text-anchor=\"middle\" fill=\"%s\" style=\"fill:%s\"",
                                         kColours[c % kColours.size()], kColours[c % kColours.size()]);
        out += text_at(panel.x(peak->deg), panel.y(peak->gauge_bar[c]) - 5.0, style.c_str(),
                       std::to_string(firing.cylinder));
    }
    return out;
}

/// Marks at the firing TDCs, through all panels; lost firings are named.
std::string tdc_marks(const TwoCycles& cycles, double bottom, double span_deg) {
    std::string out;
    const Panel panel(kTop, 0.0, 1.0, span_deg);
    for (const Firing& firing : cycles.firings) {
        if (firing.deg > span_deg - 1.0) continue;
        const double x = panel.x(firing.deg);
        if (!firing.lost) continue;
        out += format("<path d=\"M%.1f %.1fV%.1f\" stroke=\"%s\" stroke-dasharray=\"2 3\"/>\n", x, kTop, bottom,
                      kLostColour);
        out += text_at(x + 4.0, kTop + 14.0, format("style=\"fill:%s\"", kLostColour).c_str(),
                       format("cylinder %d: lost", firing.cylinder));
    }
    return out;
}

}  // namespace

std::string picture_svg(const Scenario& scenario) {
    const TwoCycles cycles = two_cycles(scenario);
    const double span_deg = 2.0 * scenario.engine.cycle_deg();
    const double bottom = kTop + 3.0 * kPanel + 2.0 * kBetween;
    const double height = bottom + kBottom;
    std::string out = svg::opening(kWidth, height);
    out +=
        "<style>text{font-family:'DejaVu Sans',Verdana,Arial,sans-serif;font-size:12px;fill:#222}"
        ".title{font-size:17px;font-weight:bold}.strong{font-weight:bold;font-size:13px}"
        ".frame{fill:none;stroke:#999}.grid{stroke:#eee;fill:none}.zero{stroke:#999;fill:none}"
        ".curve{fill:none;stroke-width:1.6;stroke-linejoin:round}</style>\n"
        "<rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n";
    out += text_at(14.0, 26.0, "class=\"title\"", "Two engine cycles");
    out += text_at(14.0, 48.0, "",
                   format("from %.3f s on, %.0f rpm on average; 0 degrees is cylinder 1's firing TDC", cycles.from_s,
                          cycles.mean_rpm));
    double top = kTop;
    out += speed_panel(cycles, top, span_deg);
    top += kPanel + kBetween;
    out += torque_panel(cycles, top, span_deg);
    top += kPanel + kBetween;
    out += pressure_panel(cycles, top, span_deg);
    out += tdc_marks(cycles, bottom, span_deg);
    const Panel axis(top, 0.0, 1.0, span_deg);
    for (double deg = 0.0; deg <= span_deg + 1e-9; deg += 180.0)
        out += text_at(axis.x(deg), bottom + 18.0, "text-anchor=\"middle\"", format("%.0f", deg));
    out += text_at(0.5 * (kLeft + kWidth - kRight), height - 12.0, "text-anchor=\"middle\"", "crank angle / degrees");
    return out + "</svg>\n";
}

}  // namespace kurbel::command
