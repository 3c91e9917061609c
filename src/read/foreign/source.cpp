#include "read/foreign/source.hpp"

#include <filesystem>

#include "kurbel/read/input_error.hpp"
#include "read/config_toml.hpp"
#include "read/foreign/words.hpp"

namespace kurbel::read {

namespace {

/// The file that tells of engine and wheel; an empty path where nothing does.
TomlFile description_of(const ForeignFile& file, const Plan& plan) {
    if (!file.description.empty()) {
        const std::filesystem::path given(file.description);
        std::error_code error;
        return parse_toml(std::filesystem::is_directory(given, error) ? (given / "recording.toml").string()
                                                                      : file.description);
    }
    if (!file.mapping_file.empty()) {
        TomlFile mapping = parse_toml(file.mapping_file);
        if (find_table(mapping, "engine") != nullptr || find_table(mapping, "crank_wheel") != nullptr) return mapping;
    }
    if (!plan.contents.description.empty()) return parse_toml_text(plan.contents.description, file.path);
    return {};
}

void describe(const ForeignFile& file, const Plan& plan, Description needed, Source& source) {
    const TomlFile told = description_of(file, plan);
    if (told.path.empty()) {
        if (needed == Description::optional) return;
        throw InputError(file.path, 0,
                         "nothing tells of the engine and its wheel: give a file with [engine] and [crank_wheel], as "
                         "in recording.toml, "
                         "with --describe FILE, or put these tables into " +
                             mapping_path(file.path));
    }
    source.config.engine = read_engine(told);
    source.config.crank_wheel = read_crank_wheel(told);
    source.config.cam_wheel = read_cam_wheel(told, source.config.engine);
    source.wheel_line = static_cast<int>(find_table(told, "crank_wheel")->source().begin.line);
    source.description_file = told.path;
    source.described = true;
}

LoadRule load_rule(const std::string& path, const Plan& plan, const Source& source) {
    constexpr double kPi = 3.14159265358979323846;
    const Mapping& mapping = plan.mapping;
    LoadRule rule;
    // Among the rows of a mixed list load goes by its own name unless another is told.
    const bool has_load = !mapping.load.empty() || (!mapping.signal.empty() && !mapping.value.empty());
    if (!mapping.load_unit.empty() && has_load) rule.unit = mapping.load_unit;
    if (mapping.full_load > 0.0) rule.full_load = mapping.full_load;
    if (mapping.barometric_kpa > 0.0) rule.barometric_kpa = mapping.barometric_kpa;
    rule.throttle_bore_mm = mapping.throttle_bore_mm;
    const EngineConfig& engine = source.config.engine;
    rule.cylinders = engine.cylinders;
    rule.strokes = engine.strokes;
    rule.teeth = source.config.crank_wheel.teeth;
    rule.hz = source.config.timer.hz;
    const double cm3 = kPi / 4.0 * engine.bore_mm * engine.bore_mm * engine.stroke_mm / 1000.0;
    rule.cylinder_cm3 = cm3 > 0.0 ? cm3 : 0.0;
    const bool needs_size = rule.unit == "air_mg" || rule.unit == "air_g_s" || rule.unit == "throttle_deg" ||
                            rule.unit == "throttle_percent";
    if (needs_size && rule.cylinder_cm3 == 0.0)
        throw InputError(path, 0, "load_unit " + rule.unit + " needs bore_mm and stroke_mm in [engine]");
    return rule;
}

}  // namespace

const std::vector<Channel>& all_channels() {
    static const std::vector<Channel> channels = [] {
        std::vector<Channel> list{Channel::load, Channel::fuel_cut, Channel::coolant_c, Channel::vehicle_kmh};
        for (int cylinder = 1; cylinder <= kMaxCylinders; ++cylinder) list.push_back(fuel_cut_channel(cylinder));
        return list;
    }();
    return channels;
}

Source open_source(const ForeignFile& file, Description description) {
    const Plan plan = make_plan(file);
    Source source;
    source.config.timer = {plan.clock.timer.hz, 0};
    describe(file, plan, description, source);
    source.items = merged(open_streams(file.path, plan, source.channels));
    source.items = converted(std::move(source.items), load_rule(file.path, plan, source), file.path);
    return source;
}

ForeignFile foreign_file(const std::string& path) {
    ForeignFile file;
    file.path = path;
    std::error_code error;
    if (std::filesystem::exists(mapping_path(path), error)) {
        file.mapping_file = mapping_path(path);
        file.mapping = read_mapping(file.mapping_file);
    }
    return file;
}

}  // namespace kurbel::read
