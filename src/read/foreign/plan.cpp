// What a mapping leaves open, decided by the file itself.
#include <cmath>

#include "kurbel/read/input_error.hpp"
#include "read/config_toml.hpp"
#include "read/foreign/source.hpp"
#include "read/foreign/words.hpp"

namespace kurbel::read {

namespace {

/// kurbel's own files name their columns so.
void take_own_names(Plan& plan) {
    Mapping& mapping = plan.mapping;
    mapping.crank = "crank";
    if (mapping.format == "parquet") {
        mapping.content = "edges";
        mapping.time = "tick";
        mapping.time_unit = "ticks";
        mapping.signal = "signal";
        mapping.value = "value";
        mapping.cam = "cam";
        return;
    }
    mapping.content = "levels";
    for (const std::string& name : plan.contents.columns)
        if (name == "cam") mapping.cam = "cam";
}

TimerConfig own_timer(const std::string& path, const std::string& description) {
    TimerConfig timer = read_timer(parse_toml_text(description, path));
    timer.bits = 0;  // what is written is unwrapped
    return timer;
}

std::string content_of(const Mapping& mapping) {
    if (!mapping.content.empty()) return mapping.content;
    if (mapping.format == "vcd") return "levels";
    if (!mapping.signal.empty()) return "edges";
    const bool sampled =
        mapping.format == "wav" || mapping.format == "mdf" || mapping.rate_hz > 0.0 || !mapping.time.empty();
    return sampled ? "waveform" : "edges";
}

void set_clock(const std::string& path, Plan& plan) {
    Mapping& mapping = plan.mapping;
    if (mapping.time_unit.empty() && mapping.format != "vcd") mapping.time_unit = plan.contents.time_unit;
    if (mapping.time_unit.empty()) mapping.time_unit = "s";
    plan.clock.unit = mapping.time_unit;
    constexpr double kPicoseconds = 1e12;
    if (plan.own) {
        plan.clock.timer = own_timer(path, plan.contents.description);
    } else if (mapping.time_unit == "ticks") {
        if (mapping.timer_hz == 0.0)
            throw InputError(path, 0, "its times are ticks: tell how many a second with timer_hz");
        plan.clock.timer = {mapping.timer_hz, mapping.timer_bits};
    } else if (mapping.format == "vcd" && plan.contents.time_unit == "ps") {
        plan.clock.timer.hz = kPicoseconds;
    } else if (mapping.content == "waveform" && mapping.rate_hz > 1e6) {
        plan.clock.timer.hz = kPicoseconds;  // edges lie between samples: a nanosecond would show
    }
    if (mapping.timer_bits > 0 && mapping.time_unit != "ticks")
        throw InputError(path, 0, "timer_bits goes with time_unit = \"ticks\"");
}

/// Says what is missing where nothing tells which column is the crank's.
[[noreturn]] void ask_for_mapping(const ForeignFile& file, const Plan& plan) {
    throw InputError(file.path, 0,
                     "which column is the crank's? Write " + mapping_path(file.path) +
                         " (crank = \"NAME\" ...), or call kurbel convert "
                         "with --crank NAME; there are " +
                         listed(plan.contents.columns));
}

}  // namespace

Plan make_plan(const ForeignFile& file) {
    Plan plan;
    plan.mapping = file.mapping;
    if (plan.mapping.format.empty()) plan.mapping.format = format_of(file.path);
    plan.contents = look_into(file.path, plan.mapping);
    plan.own = !plan.contents.description.empty() && plan.mapping.crank.empty();
    if (plan.own) take_own_names(plan);
    const Mapping& mapping = plan.mapping;
    if (mapping.crank.empty() && mapping.signal.empty()) {
        if (mapping.format != "wav" || plan.contents.columns.size() != 1) ask_for_mapping(file, plan);
        plan.mapping.crank = plan.contents.columns.front();
    }
    plan.mapping.content = content_of(mapping);
    if (mapping.load_unit == "of_full_load" && mapping.full_load == 0.0)
        throw InputError(file.path, 0, "load_unit is of_full_load: tell the full load with full_load");
    const bool throttle = mapping.load_unit == "throttle_deg" || mapping.load_unit == "throttle_percent";
    if (throttle && mapping.throttle_bore_mm == 0.0)
        throw InputError(file.path, 0,
                         "load_unit is " + mapping.load_unit + ": tell the throttle's bore with throttle_bore_mm");
    set_clock(file.path, plan);
    return plan;
}

}  // namespace kurbel::read
