#include "command/describe.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "command/text.hpp"
#include "kurbel/simulate/description.hpp"

namespace kurbel::command {

namespace {

using namespace simulate;

constexpr std::size_t kWidth = 110;

/// A line under a heading: what, and how much.
std::string line(const char* what, const std::string& text) {
    constexpr std::size_t kLabel = 30;
    std::string label = std::string("  ") + what;
    label.resize(kLabel, ' ');
    return wrapped(label + text, kWidth, kLabel) + "\n";
}

std::string degrees(double value) { return format("%.5g", value); }

std::string joined(const std::vector<std::string>& words, const char* between) {
    std::string text;
    for (const std::string& word : words) text += (text.empty() ? "" : between) + word;
    return text;
}

int highest_of(const EngineConfig& engine, const std::array<int, kMaxCylinders>& by_cylinder) {
    return *std::max_element(by_cylinder.begin(), by_cylinder.begin() + engine.cylinders);
}

std::string engine_words(const Scenario& s, const MachineFigures& figures) {
    const EngineConfig& e = s.engine;
    std::string text = "Engine\n";
    const int banks = highest_of(e, e.bank);
    const int pins = highest_of(e, e.throw_number);
    std::string shape = counted(e.cylinders, "cylinder");
    if (banks > 1) shape += format(" in %d banks", banks);
    if (pins > 0 && pins < e.cylinders) shape += format(" on %d crank pins", pins);
    shape += e.strokes == 2 ? ", two-stroke" : ", four-stroke";
    text += line("layout", shape);
    text += line("displacement",
                 format("%.2f litres: bore %.5g mm, stroke %.5g mm", figures.displacement_l, e.bore_mm, e.stroke_mm));
    text += line("compression ratio", format("%.3g", e.compression_ratio));
    text += line("load is set by", s.combustion.throttled ? "the charge (throttle)" : "the fuel alone (no throttle)");
    std::vector<std::string> order;
    std::vector<std::string> intervals;
    bool even = true;
    for (int i = 0; i < e.cylinders; ++i) {
        const auto n = static_cast<std::size_t>(i);
        order.push_back(std::to_string(e.firing_order[n]));
        intervals.push_back(degrees(figures.interval_deg[n]));
        even = even && std::fabs(figures.interval_deg[n] - figures.interval_deg[0]) < 0.01;
    }
    text += line("firing order", joined(order, "-"));
    text +=
        line("from firing to firing", even ? intervals[0] + " degrees" : joined(intervals, ", ") + " degrees (uneven)");
    text += line("turning inertia", format("%.4g kg m2, and on average %.3g kg m2 from pistons and rods",
                                           figures.rotating_kg_m2, figures.reciprocating_kg_m2));
    return text;
}

/// How a mode moves: the amplitude of every mass, the largest being 1.
std::string shape_words(const MachineFigures& figures, const Mode& mode) {
    std::vector<std::string> words;
    for (std::size_t i = 0; i < mode.shape.size(); ++i) {
        const std::string& mass = figures.masses[i];
        const bool thrown = mass.rfind("throw ", 0) == 0;
        const std::string value = format("%+.2f", std::fabs(mode.shape[i]) < 0.005 ? 0.0 : mode.shape[i]);
        if (thrown && mass != "throw 1")
            words.back() += " " + value;
        else
            words.push_back((thrown ? "throws" : mass) + " " + value);
    }
    return joined(words, ", ");
}

std::string modes_words(const Scenario& s, const MachineFigures& figures) {
    constexpr double kShown_hz = 1000.0;
    std::string text = "Natural frequencies, and how far each part swings (opposite signs swing against each other)\n";
    std::size_t hidden = 0;
    for (const Mode& mode : figures.modes) {
        if (mode.hz > kShown_hz && &mode != &figures.modes.front())
            ++hidden;
        else
            text += wrapped(format("  %7.1f Hz  ", mode.hz) + shape_words(figures, mode), kWidth, 14) + "\n";
    }
    if (hidden > 0) text += format("  and %zu above %.0f Hz\n", hidden, kShown_hz);
    // The crank's own first mode is the first one that is above what drivelines have.
    constexpr double kDriveline_hz = 100.0;
    const double order = s.engine.cylinders * 360.0 / s.engine.cycle_deg();  // firings a turn
    const auto twist = std::find_if(figures.modes.begin(), figures.modes.end(),
                                    [](const Mode& mode) { return mode.hz > kDriveline_hz; });
    if (twist != figures.modes.end())
        text += format("  The firings, %.3g a turn, meet the %.0f Hz at %.0f rpm.\n", order, twist->hz,
                       60.0 * twist->hz / order);
    return text;
}

/// "30.3 rpm (4.0 %)".
std::string of_speed(double rpm, double speed_rpm) {
    const double share = 100.0 * std::fabs(rpm) / speed_rpm;
    return format(share < 0.995 ? "%.1f rpm (%.2f %%)" : "%.1f rpm (%.1f %%)", rpm, share);
}

const char* mode_words(Operation mode) {
    switch (mode) {
        case Operation::neutral: return "in neutral, an idle governor holds the speed";
        case Operation::hold: return "in gear, a brake holds the speed";
        case Operation::road: return "on the road";
        case Operation::cranking: return "turned by the starter";
        case Operation::start: return "turned by the starter until it runs; here as it idles then";
    }
    return "";
}

std::string running_words(const Scenario& s, const RunningFigures& r) {
    const bool cranking = s.operation.mode == Operation::cranking;
    std::string text = std::string("At the start of the recording: ") + mode_words(s.operation.mode) + "\n";
    if (!r.runs) return text + "  It does not keep running there.\n";
    const auto two = [&](double flywheel_rpm, double sensor_rpm) {
        return of_speed(flywheel_rpm, r.speed_rpm) + " at the flywheel, " + of_speed(sensor_rpm, r.speed_rpm) +
               " at the sensor";
    };
    text += line("mean speed", format("%.0f rpm", r.speed_rpm));
    text += line("charge", format("%.0f %% of full", 100.0 * r.load));
    if (!cranking) text += line("work of a firing", format("%.1f J, or %.2f bar indicated", r.work_j, r.imep_bar));
    text += line("friction, accessories", format("%.1f Nm", r.friction_nm));
    if (s.operation.mode == Operation::hold || s.operation.mode == Operation::road)
        text += line("left at the clutch", format("%.1f Nm", r.brake_nm));
    text += line("speed swing in a cycle", two(r.swing_rpm, r.sensor_swing_rpm));
    if (cranking) return text;
    text += line("slower after a lost firing", two(r.drop_rpm, r.sensor_drop_rpm));
    text += line("", "(cylinder 1's; mean from a quarter to three quarters of a turn after its TDC)");
    text += line("... on a stiff crank alone", of_speed(r.rigid_drop_rpm, r.speed_rpm) + ": work / (inertia x speed)");
    return text;
}

std::string wheel_words(const Scenario& s, double speed_rpm) {
    const WheelConfig& w = s.crank_wheel;
    std::string text = format("Wheel and timer, at %.0f rpm\n", speed_rpm);
    double narrowest = 360.0;
    for (int i = 1; i < w.teeth; ++i)
        narrowest = std::min(narrowest, static_cast<double>(w.angle_deg[static_cast<std::size_t>(i)]) -
                                            static_cast<double>(w.angle_deg[static_cast<std::size_t>(i - 1)]));
    const std::string places =
        w.positions > 0 ? format("%d on %d even places", w.teeth, w.positions) : format("%d at listed angles", w.teeth);
    const bool coil = s.sensor.kind == SensorKind::inductive;
    text += line("teeth", places + (w.at == SensorAt::flywheel ? ", at the flywheel" : ", at the front"));
    text += line("crank sensor", coil ? "inductive: edges from a coil's voltage" : "a ready edge for each tooth");
    text += line("cam sensor", s.cam_wheel.edges > 0 ? counted(s.cam_wheel.edges, "edge") + " a cycle" : "none");
    const double deg_s = 6.0 * speed_rpm;
    const double tick_s = s.capture.prescaler / s.timer.hz;
    text +=
        line("from tooth to tooth", format("%s degrees, %.4g us", degrees(narrowest).c_str(), 1e6 * narrowest / deg_s));
    text += line("timer step", format("%.4g us, %.2g degrees, %.2g %% of that", 1e6 * tick_s, deg_s * tick_s,
                                      100.0 * deg_s * tick_s / narrowest));
    if (s.timer.bits > 0)
        text += line("counter",
                     format("%d bits, wraps every %.4g s", s.timer.bits, std::ldexp(1.0, s.timer.bits) / s.timer.hz));
    return text;
}

std::string rule_words(const MisfireRule& m) {
    std::vector<std::string> numbers;
    for (const int cylinder : m.cylinders) numbers.push_back(std::to_string(cylinder));
    const std::string who =
        numbers.empty() ? "all cylinders" : (numbers.size() == 1 ? "cylinder " : "cylinders ") + joined(numbers, ", ");
    std::string what = who + ": ";
    switch (m.pattern) {
        case MisfirePattern::continuous: what += "every firing"; break;
        case MisfirePattern::random: what += percent(m.rate) + " of the firings, at random"; break;
        case MisfirePattern::periodic: what += format("one in %d firings", m.every); break;
        case MisfirePattern::burst:
            what += format("%d firings in a row, begun at %s of the firings", m.length, percent(m.rate).c_str());
            break;
    }
    what += m.severity >= 1.0 ? ", no combustion" : ", " + percent(m.severity) + " of the heat missing";
    if (m.from_s > -1e8) what += format(", from %.4g s", m.from_s);
    if (m.to_s < 1e8) what += format(", to %.4g s", m.to_s);
    if (m.highest_load < 1e8) what += format(", up to %s of the charge", percent(m.highest_load).c_str());
    if (m.highest_rpm < 1e8) what += format(", up to %.0f rpm", m.highest_rpm);
    return what;
}

std::string fault_words(const Scenario& s) {
    std::string text = "Misfires on purpose\n";
    for (const MisfireRule& rule : s.misfires) text += wrapped("  " + rule_words(rule), kWidth, 4) + "\n";
    if (s.misfires.empty()) text += "  none\n";
    return text;
}

}  // namespace

std::string description(const Scenario& scenario) {
    const MachineFigures machine = machine_figures(scenario);
    const RunningFigures running = running_figures(scenario);
    const double speed = running.runs ? running.speed_rpm : scenario.operation.speed_rpm.at(0.0);
    return engine_words(scenario, machine) + "\n" + modes_words(scenario, machine) + "\n" +
           running_words(scenario, running) + "\n" + wheel_words(scenario, speed) + "\n" + fault_words(scenario);
}

}  // namespace kurbel::command
