// A drawn scenario as a scenario file, so that one cell can be run, looked at and changed by hand.
#pragma once

#include <iomanip>
#include <locale>
#include <sstream>
#include <string>

#include "kurbel/simulate/scenario.hpp"

namespace kurbel_detection {

namespace detail {

/// Writes `key = value` lines with all digits, whatever the locale.
class TomlText {
  public:
    TomlText() {
        text_.imbue(std::locale::classic());
        text_ << std::setprecision(17);
    }

    void table(const char* header) { text_ << header << "\n"; }

    template <class Value>
    void line(const char* key, const Value& value) {
        text_ << key << " = " << value << "\n";
    }

    template <class Values>
    void list(const char* key, const Values& values, int count) {
        text_ << key << " = [";
        for (int i = 0; i < count; ++i) text_ << (i > 0 ? ", " : "") << values[static_cast<std::size_t>(i)];
        text_ << "]\n";
    }

    [[nodiscard]] std::string text() const { return text_.str(); }

  private:
    std::ostringstream text_;
};

inline void write_engine(const kurbel::simulate::Scenario& s, TomlText& out) {
    out.table("[engine]");
    out.line("cylinders", s.engine.cylinders);
    out.list("firing_order", s.engine.firing_order, s.engine.cylinders);
    out.list("firing_tdc_deg", s.engine.firing_tdc_deg, s.engine.cylinders);
    out.line("bore_mm", s.engine.bore_mm);
    out.line("stroke_mm", s.engine.stroke_mm);
    out.line("rod_mm", s.engine.rod_mm);
    out.line("compression_ratio", s.engine.compression_ratio);
    out.line("reciprocating_kg", s.engine.reciprocating_kg);
    out.line("inertia_kg_m2", s.engine.inertia_kg_m2);
    out.list("throw", s.engine.throw_number, s.engine.cylinders);
    out.table("[crank]");
    out.line("first_torsion_hz", s.crank.first_torsion_hz);
    out.line("damping_ratio", s.crank.damping_ratio);
    out.line("pulley_share", s.crank.pulley_share);
    out.line("throws_share", s.crank.throws_share);
    out.table("[combustion]");
    out.line("scatter", s.combustion.scatter);
    out.line("scatter_low_load", s.combustion.scatter_low_load);
    out.line("scatter_skewness", s.combustion.scatter_skewness);
    out.line("spread", s.combustion.spread);
    out.line("ca50_deg", s.combustion.ca50_deg);
    out.line("burn_deg", s.combustion.burn_deg);
    out.line("burn_low_load_deg", s.combustion.burn_low_load_deg);
    out.table("[friction]");
    out.line("accessories_nm", s.friction.accessories_nm);
}

inline void write_operation(const kurbel::simulate::Scenario& s, TomlText& out) {
    const bool neutral = s.operation.mode == kurbel::simulate::Operation::neutral;
    out.table("[operation]");
    out.line("mode", neutral ? "\"neutral\"" : "\"hold\"");
    out.line("speed_rpm", s.operation.speed_rpm.at(0.0));
    if (!neutral) out.line("load", s.operation.load.at(0.0));
    out.table("[driveline]");
    out.line("ratio", s.driveline.ratio);
    out.line("vehicle_kg", s.driveline.vehicle_kg);
    out.line("clutch_hz", s.driveline.clutch_hz);
    out.line("clutch_damping", s.driveline.clutch_damping);
    out.line("shuffle_hz", s.driveline.shuffle_hz);
    out.line("shuffle_damping", s.driveline.shuffle_damping);
    for (const kurbel::simulate::MisfireRule& rule : s.misfires) {
        const bool random = rule.pattern == kurbel::simulate::MisfirePattern::random;
        out.table("[[misfire]]");
        out.line("pattern", random ? "\"random\"" : "\"continuous\"");
        if (random) out.line("rate", rule.rate);
        if (!random) out.list("cylinders", rule.cylinders, static_cast<int>(rule.cylinders.size()));
        out.line("severity", rule.severity);
        out.line("from_s", rule.from_s);
    }
}

inline void write_measurement(const kurbel::simulate::Scenario& s, TomlText& out) {
    out.table("[crank_wheel]");
    out.line("positions", s.crank_wheel.positions);
    // The wheels of this table have their gap at the end.
    int absent[kurbel::kMaxTeeth] = {};
    for (int i = s.crank_wheel.teeth; i < s.crank_wheel.positions; ++i) absent[i - s.crank_wheel.teeth] = i;
    out.list("absent", absent, s.crank_wheel.positions - s.crank_wheel.teeth);
    out.line("tdc1_deg", s.crank_wheel.tdc1_deg);
    out.line("at", s.crank_wheel.at == kurbel::SensorAt::front ? "\"front\"" : "\"flywheel\"");
    out.table("[cam_wheel]");
    out.list("edges_deg", s.cam_wheel.edge_deg, s.cam_wheel.edges);
    out.table("[timer]");
    out.line("hz", s.timer.hz);
    out.line("bits", s.timer.bits);
    out.table("[wheel_error]");
    out.line("pitch_deg", s.wheel_error.pitch_deg);
    out.line("jitter_deg", s.wheel_error.jitter_deg);
    out.table("[channels]");
    out.line("load_gain", s.channels.load_gain);
}

}  // namespace detail

/// All that draw_scenario sets; what it leaves alone is left out, and stays at its default.
[[nodiscard]] inline std::string scenario_text(const kurbel::simulate::Scenario& s) {
    detail::TomlText out;
    out.table("[scenario]");
    out.line("seed", s.seed);
    out.line("seconds", s.seconds);
    detail::write_engine(s, out);
    detail::write_measurement(s, out);
    detail::write_operation(s, out);
    return out.text();
}

}  // namespace kurbel_detection
