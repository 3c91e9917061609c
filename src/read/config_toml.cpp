// The four tables that describe engine, wheels and timer: from TOML and back.
#include "read/config_toml.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "kurbel/read/input_error.hpp"

namespace kurbel::read {

namespace {

const toml::table& required_table(const TomlFile& file, const char* name) {
    const toml::table* table = find_table(file, name);
    if (table == nullptr) throw InputError(file.path, 0, std::string("table [") + name + "] is missing");
    return *table;
}

/// A whole number that fits `int`: one beyond it would pass the range checks by wrapping round.
int small_integer(const TomlFile& file, const toml::table& table, const std::string& name, const char* key,
                  long long value) {
    if (value < -1000000 || value > 1000000) fail_key(file, table, name, key, "is out of range");
    return static_cast<int>(value);
}

/// Copies a list with one entry a cylinder; an absent list leaves `target` as it is.
template <class T, class Target>
void fill_by_cylinder(const TomlFile& file, const toml::table& table, const char* key, const std::vector<T>& list,
                      int cylinders, Target& target) {
    if (table.get(key) == nullptr) return;
    if (list.size() != static_cast<std::size_t>(cylinders))
        fail_key(file, table, "engine", key,
                 "must have one entry for each of " + std::to_string(cylinders) + " cylinders, but has " +
                     std::to_string(list.size()));
    for (std::size_t i = 0; i < list.size(); ++i) {
        if constexpr (std::is_integral_v<T>)
            target[i] = small_integer(file, table, "engine", key, list[i]);
        else
            target[i] = list[i];
    }
}

void read_throws_and_banks(const TomlFile& file, const toml::table& table, EngineConfig& engine) {
    const auto throws = integers_or_none(file, table, "engine", "throw");
    const auto banks = integers_or_none(file, table, "engine", "bank");
    fill_by_cylinder(file, table, "throw", throws, engine.cylinders, engine.throw_number);
    fill_by_cylinder(file, table, "bank", banks, engine.cylinders, engine.bank);
    // Zero stands for "not given" inside; written in a file it is a mistake.
    if (std::any_of(throws.begin(), throws.end(), [](long long pin) { return pin < 1; }))
        fail_key(file, table, "engine", "throw", "each entry must lie in 1 to cylinders");
    if (std::any_of(banks.begin(), banks.end(), [](long long bank) { return bank < 1; }))
        fail_key(file, table, "engine", "bank", "each entry must be at least 1");
}

// ---- writing ------------------------------------------------------------------------------------------------------

/// Shortest text that reads back to the same number; always a dot or exponent would be needless: TOML takes integers.
template <class T>
std::string number_text(T value) {
    char buffer[64];
    const auto result = std::to_chars(buffer, buffer + sizeof buffer, value);
    return {buffer, result.ptr};
}

template <class T>
std::string list_text(const T* values, int count) {
    std::string text = "[";
    for (int i = 0; i < count; ++i) text += (i > 0 ? ", " : "") + number_text(values[i]);
    return text + "]";
}

void put_number(std::string& text, const char* key, double value) {
    if (!std::isnan(value)) text += std::string(key) + " = " + number_text(value) + "\n";
}

std::string engine_text(const EngineConfig& engine) {
    std::string text = "[engine]\n";
    if (engine.strokes != 4) text += "strokes = " + std::to_string(engine.strokes) + "\n";
    text += "cylinders = " + std::to_string(engine.cylinders) + "\n";
    text += "firing_order = " + list_text(engine.firing_order.data(), engine.cylinders) + "\n";
    text += "firing_tdc_deg = " + list_text(engine.firing_tdc_deg.data(), engine.cylinders) + "\n";
    put_number(text, "bore_mm", engine.bore_mm);
    put_number(text, "stroke_mm", engine.stroke_mm);
    put_number(text, "rod_mm", engine.rod_mm);
    put_number(text, "compression_ratio", engine.compression_ratio);
    put_number(text, "reciprocating_kg", engine.reciprocating_kg);
    put_number(text, "inertia_kg_m2", engine.inertia_kg_m2);
    if (engine.throw_number[0] != 0)
        text += "throw = " + list_text(engine.throw_number.data(), engine.cylinders) + "\n";
    if (engine.bank[0] != 0) text += "bank = " + list_text(engine.bank.data(), engine.cylinders) + "\n";
    return text;
}

/// Places of an evenly spaced wheel that have no tooth.
std::vector<int> absent_places(const WheelConfig& wheel) {
    std::vector<int> absent;
    int tooth = 0;
    for (int place = 0; place < wheel.positions; ++place) {
        const double angle = place * 360.0 / wheel.positions;
        const double half_pitch = 180.0 / wheel.positions;
        if (tooth < wheel.teeth &&
            std::abs(static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(tooth)]) - angle) < half_pitch)
            ++tooth;
        else
            absent.push_back(place);
    }
    return absent;
}

std::string wheel_text(const WheelConfig& wheel) {
    std::string text = "\n[crank_wheel]\n";
    if (wheel.positions > 0) {
        const std::vector<int> absent = absent_places(wheel);
        text += "positions = " + std::to_string(wheel.positions) + "\n";
        text += "absent = " + list_text(absent.data(), static_cast<int>(absent.size())) + "\n";
    } else {
        text += "tooth_angles_deg = " + list_text(wheel.angle_deg.data(), wheel.teeth) + "\n";
    }
    put_number(text, "tdc1_deg", wheel.tdc1_deg);
    if (wheel.at != SensorAt::unknown)
        text += std::string("at = \"") + (wheel.at == SensorAt::front ? "front" : "flywheel") + "\"\n";
    return text;
}

}  // namespace

EngineConfig read_engine(const TomlFile& file) {
    const toml::table& table = required_table(file, "engine");
    refuse_unknown_keys(file, table, "engine",
                        {"strokes", "cylinders", "firing_order", "firing_tdc_deg", "bore_mm", "stroke_mm", "rod_mm",
                         "compression_ratio", "reciprocating_kg", "inertia_kg_m2", "throw", "bank"});
    EngineConfig engine;
    engine.strokes = small_integer(file, table, "engine", "strokes", integer_or(file, table, "engine", "strokes", 4));
    engine.cylinders =
        small_integer(file, table, "engine", "cylinders", required_integer(file, table, "engine", "cylinders"));
    if (engine.cylinders < 1 || engine.cylinders > kMaxCylinders)
        fail_key(file, table, "engine", "cylinders", "must lie in 1 to 16");
    if (table.get("firing_order") == nullptr) fail_key(file, table, "engine", "firing_order", "is missing");
    fill_by_cylinder(file, table, "firing_order", integers_or_none(file, table, "engine", "firing_order"),
                     engine.cylinders, engine.firing_order);
    make_even_firing(engine);
    fill_by_cylinder(file, table, "firing_tdc_deg", numbers_or_none(file, table, "engine", "firing_tdc_deg"),
                     engine.cylinders, engine.firing_tdc_deg);
    engine.bore_mm = number_or(file, table, "engine", "bore_mm", kUnknown);
    engine.stroke_mm = number_or(file, table, "engine", "stroke_mm", kUnknown);
    engine.rod_mm = number_or(file, table, "engine", "rod_mm", kUnknown);
    engine.compression_ratio = number_or(file, table, "engine", "compression_ratio", kUnknown);
    engine.reciprocating_kg = number_or(file, table, "engine", "reciprocating_kg", kUnknown);
    engine.inertia_kg_m2 = number_or(file, table, "engine", "inertia_kg_m2", kUnknown);
    read_throws_and_banks(file, table, engine);
    require(file, validate(engine));
    return engine;
}

namespace {

WheelConfig read_even_wheel(const TomlFile& file, const toml::table& table) {
    WheelConfig wheel;
    const int positions = small_integer(file, table, "crank_wheel", "positions",
                                        required_integer(file, table, "crank_wheel", "positions"));
    std::vector<int> absent;
    for (const long long place : integers_or_none(file, table, "crank_wheel", "absent"))
        absent.push_back(small_integer(file, table, "crank_wheel", "absent", place));
    require(file, make_even_wheel(positions, absent.data(), static_cast<int>(absent.size()), wheel));
    return wheel;
}

WheelConfig read_listed_wheel(const TomlFile& file, const toml::table& table) {
    if (table.get("positions") != nullptr || table.get("absent") != nullptr)
        fail_key(file, table, "crank_wheel", "tooth_angles_deg", "cannot stand beside positions and absent");
    const std::vector<double> angles = numbers_or_none(file, table, "crank_wheel", "tooth_angles_deg");
    if (angles.empty() || angles.size() > kMaxTeeth)
        fail_key(file, table, "crank_wheel", "tooth_angles_deg", "must list 1 to 400 teeth");
    WheelConfig wheel;
    wheel.teeth = static_cast<int>(angles.size());
    for (std::size_t i = 0; i < angles.size(); ++i) wheel.angle_deg[i] = static_cast<float>(angles[i]);
    return wheel;
}

}  // namespace

WheelConfig read_crank_wheel(const TomlFile& file) {
    const toml::table& table = required_table(file, "crank_wheel");
    refuse_unknown_keys(file, table, "crank_wheel", {"positions", "absent", "tooth_angles_deg", "tdc1_deg", "at"});
    WheelConfig wheel =
        table.get("tooth_angles_deg") != nullptr ? read_listed_wheel(file, table) : read_even_wheel(file, table);
    wheel.tdc1_deg = required_number(file, table, "crank_wheel", "tdc1_deg");
    const std::string at = text_or(file, table, "crank_wheel", "at", "");
    if (at == "front")
        wheel.at = SensorAt::front;
    else if (at == "flywheel")
        wheel.at = SensorAt::flywheel;
    else if (table.get("at") != nullptr)
        fail_key(file, table, "crank_wheel", "at", "must be \"front\" or \"flywheel\"");
    require(file, validate(wheel));
    return wheel;
}

CamConfig read_cam_wheel(const TomlFile& file, const EngineConfig& engine) {
    const toml::table* table = find_table(file, "cam_wheel");
    CamConfig cam;
    if (table == nullptr) return cam;
    refuse_unknown_keys(file, *table, "cam_wheel", {"edges_deg"});
    std::vector<double> edges = numbers_or_none(file, *table, "cam_wheel", "edges_deg");
    if (edges.empty() || edges.size() > kMaxCamEdges)
        fail_key(file, *table, "cam_wheel", "edges_deg", "must list 1 to 32 edges");
    // The order in which a cam wheel's edges are listed carries no meaning; the end of the cycle is its beginning.
    std::replace(edges.begin(), edges.end(), engine.cycle_deg(), 0.0);
    std::sort(edges.begin(), edges.end());
    if (std::adjacent_find(edges.begin(), edges.end()) != edges.end())
        fail_key(file, *table, "cam_wheel", "edges_deg", "names an edge twice");
    cam.edges = static_cast<int>(edges.size());
    std::copy(edges.begin(), edges.end(), cam.edge_deg.begin());
    require(file, validate(cam, engine));
    return cam;
}

TimerConfig read_timer(const TomlFile& file) {
    const toml::table* table = find_table(file, "timer");
    TimerConfig timer;
    if (table == nullptr) return timer;
    refuse_unknown_keys(file, *table, "timer", {"hz", "bits"});
    timer.hz = required_number(file, *table, "timer", "hz");
    timer.bits = small_integer(file, *table, "timer", "bits", integer_or(file, *table, "timer", "bits", 0));
    require(file, validate(timer));
    return timer;
}

std::string wheel_toml(const WheelConfig& wheel) { return wheel_text(wheel); }

std::string to_toml(const Config& config, bool with_timer) {
    std::string text = engine_text(config.engine) + wheel_text(config.crank_wheel);
    if (config.cam_wheel.edges > 0)
        text +=
            "\n[cam_wheel]\nedges_deg = " + list_text(config.cam_wheel.edge_deg.data(), config.cam_wheel.edges) + "\n";
    if (!with_timer) return text;
    text += "\n[timer]\n";
    put_number(text, "hz", config.timer.hz);
    if (config.timer.bits > 0) text += "bits = " + std::to_string(config.timer.bits) + "\n";
    return text;
}

}  // namespace kurbel::read
