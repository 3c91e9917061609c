// Configuration: flat keyword arguments from the Python layer into a checked Config.
#include <pybind11/stl.h>

#include <algorithm>
#include <string>
#include <vector>

#include "bind.hpp"

namespace kurbel::python {
namespace {

using Integers = std::vector<int>;
using Reals = std::vector<double>;

[[noreturn]] void bad(const char* parameter, const std::string& why) {
    throw py::value_error(std::string(parameter) + ": " + why);
}

template <class From, std::size_t size, class To>
void fill(const char* parameter, const std::vector<From>& from, std::array<To, size>& to) {
    if (from.size() > size) bad(parameter, "has more than " + std::to_string(size) + " entries");
    std::transform(from.begin(), from.end(), to.begin(), [](From value) { return static_cast<To>(value); });
}

template <class From, std::size_t size, class To>
void fill_exactly(const char* parameter, const std::vector<From>& from, std::array<To, size>& to, int count) {
    if (from.size() != static_cast<std::size_t>(count))
        bad(parameter, "has " + std::to_string(from.size()) + " entries, must have one for each of the " +
                           std::to_string(count) + " cylinders");
    fill(parameter, from, to);
}

EngineConfig engine_of(int strokes, int cylinders, const Integers& firing_order, const Reals& firing_tdc_deg,
                       const Integers& throw_number, const Integers& bank) {
    EngineConfig engine;
    engine.strokes = strokes;
    engine.cylinders = cylinders;
    if (cylinders < 1 || cylinders > kMaxCylinders) bad("engine.cylinders", "must lie in 1 to 16");
    fill_exactly("engine.firing_order", firing_order, engine.firing_order, cylinders);
    if (firing_tdc_deg.empty()) {
        make_even_firing(engine);
    } else {
        fill_exactly("engine.firing_tdc_deg", firing_tdc_deg, engine.firing_tdc_deg, cylinders);
    }
    if (!throw_number.empty()) fill_exactly("engine.throw", throw_number, engine.throw_number, cylinders);
    if (!bank.empty()) fill_exactly("engine.bank", bank, engine.bank, cylinders);
    return engine;
}

void set_geometry(EngineConfig& engine, double bore_mm, double stroke_mm, double rod_mm, double compression_ratio,
                  double reciprocating_kg, double inertia_kg_m2) {
    engine.bore_mm = bore_mm;
    engine.stroke_mm = stroke_mm;
    engine.rod_mm = rod_mm;
    engine.compression_ratio = compression_ratio;
    engine.reciprocating_kg = reciprocating_kg;
    engine.inertia_kg_m2 = inertia_kg_m2;
}

WheelConfig even_wheel(int positions, const Integers& absent) {
    WheelConfig wheel;
    raise_if_bad(make_even_wheel(positions, absent.data(), static_cast<int>(absent.size()), wheel));
    return wheel;
}

WheelConfig listed_wheel(const Reals& tooth_angles_deg) {
    WheelConfig wheel;
    fill("crank_wheel.tooth_angles_deg", tooth_angles_deg, wheel.angle_deg);
    wheel.teeth = static_cast<int>(tooth_angles_deg.size());
    return wheel;
}

Config with_settings(Config config, const std::string& method, double false_alarm) {
    if (method == "work") {
        config.settings.method = Method::work;
    } else if (method == "segment-roughness") {
        config.settings.method = Method::segment_roughness;
    } else {
        bad("method", "'" + method + "' is not known; known are 'work' and 'segment-roughness'");
    }
    config.settings.false_alarm = false_alarm;
    raise_if_bad(validate(config));
    return config;
}

Config join(const EngineConfig& engine, WheelConfig wheel, double tdc1_deg, const std::string& at,
            const Reals& cam_edges_deg, double hz, int bits) {
    Config config;
    config.engine = engine;
    wheel.tdc1_deg = tdc1_deg;
    if (at != "" && at != "front" && at != "flywheel") bad("crank_wheel.at", "must be 'front' or 'flywheel'");
    wheel.at = at == "front" ? SensorAt::front : at == "flywheel" ? SensorAt::flywheel : SensorAt::unknown;
    config.crank_wheel = wheel;
    fill("cam_wheel.edges_deg", cam_edges_deg, config.cam_wheel.edge_deg);
    config.cam_wheel.edges = static_cast<int>(cam_edges_deg.size());
    config.timer.hz = hz;
    config.timer.bits = bits;
    return config;
}

}  // namespace

void bind_config(py::module_& module) {
    py::class_<EngineConfig>(module, "Engine")
        .def(py::init(&engine_of), py::kw_only(), py::arg("strokes"), py::arg("cylinders"), py::arg("firing_order"),
             py::arg("firing_tdc_deg"), py::arg("throw"), py::arg("bank"))
        .def("set_geometry", &set_geometry, py::kw_only(), py::arg("bore_mm"), py::arg("stroke_mm"), py::arg("rod_mm"),
             py::arg("compression_ratio"), py::arg("reciprocating_kg"), py::arg("inertia_kg_m2"));
    py::class_<WheelConfig>(module, "Wheel")
        .def_static("even", &even_wheel, py::arg("positions"), py::arg("absent"))
        .def_static("listed", &listed_wheel, py::arg("tooth_angles_deg"));
    py::class_<Config>(module, "Config")
        .def(py::init(&join), py::kw_only(), py::arg("engine"), py::arg("wheel"), py::arg("tdc1_deg"), py::arg("at"),
             py::arg("cam_edges_deg"), py::arg("hz"), py::arg("bits"))
        .def("with_settings", &with_settings, py::arg("method"), py::arg("false_alarm"))
        .def_property_readonly("cylinders", [](const Config& config) { return config.engine.cylinders; })
        .def_property_readonly("hz", [](const Config& config) { return config.timer.hz; })
        .def_property_readonly("bits", [](const Config& config) { return config.timer.bits; });
}

}  // namespace kurbel::python
