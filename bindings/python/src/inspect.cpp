// What edges alone tell, and channels made from what engines measure.
#include <pybind11/stl.h>

#include "bind.hpp"
#include "kurbel/channel/load.hpp"
#include "kurbel/channel/resample.hpp"
#include "kurbel/discover/recording_lines.hpp"
#include "kurbel/discover/tell.hpp"
#include "kurbel/read/bare_edges.hpp"

namespace kurbel::python {

namespace {

Answer inspect_input(const std::string& input) {
    const read::BareEdges bare = read::read_bare_edges(input);
    const discover::Discovery found = discover::discover(discover::edge_lines(bare.recording));
    return discover::as_answer(found, bare.described ? &bare.recording.config : nullptr,
                               bare.has_timer ? &bare.recording.config.timer : nullptr);
}

Answer inspect_arrays(const Ticks& ticks, const Bytes& signals, double hz, int bits,
                      const std::vector<std::pair<double, double>>& fuel_cut_s) {
    const TimerConfig timer{hz, bits};
    raise_if_bad(validate(timer));
    const discover::EdgeLines lines{ticks.data(), signals.size() == 0 ? nullptr : signals.data(),
                                    static_cast<std::size_t>(ticks.size()), timer, fuel_cut_s};
    const py::gil_scoped_release released;
    return discover::as_answer(discover::discover(lines), nullptr, &timer);
}

channel::Series series(const Numbers& time_s, const Numbers& value) {
    return {{time_s.data(), time_s.data() + time_s.size()}, {value.data(), value.data() + value.size()}};
}

py::tuple fit_of(const channel::ClockFit& fit) {
    return py::make_tuple(fit.offset_s, fit.drift, fit.error_s, fit.agreement);
}

}  // namespace

void bind_inspect(py::module_& module) {
    module.def("inspect_input", &inspect_input, py::arg("input"), py::call_guard<py::gil_scoped_release>());
    module.def("inspect_arrays", &inspect_arrays, py::arg("ticks"), py::arg("signals"), py::arg("hz"), py::arg("bits"),
               py::arg("fuel_cut_s"));
    module.def(
        "load_from_manifold_pressure",
        [](double manifold_kpa, double barometric_kpa, double compression_ratio, double exhaust_kpa, double gamma) {
            return channel::load_from_manifold_pressure(manifold_kpa,
                                                        {barometric_kpa, compression_ratio, exhaust_kpa, gamma});
        },
        py::arg("manifold_kpa"), py::kw_only(), py::arg("barometric_kpa") = channel::kStandardPressure_kpa,
        py::arg("compression_ratio") = 0.0, py::arg("exhaust_kpa") = kUnknown, py::arg("gamma") = 1.3);
    module.def(
        "load_from_air_flow",
        [](double flow_g_s, double speed_rpm, double engine_cm3, int strokes, double pressure_kpa,
           double temperature_c) {
            return channel::load_from_air_flow(flow_g_s, speed_rpm, engine_cm3, strokes, {pressure_kpa, temperature_c});
        },
        py::arg("flow_g_s"), py::arg("speed_rpm"), py::arg("engine_cm3"), py::kw_only(), py::arg("strokes") = 4,
        py::arg("pressure_kpa") = 100.0, py::arg("temperature_c") = 25.0);
    module.def(
        "throttle_flow_kg_s",
        [](double area_mm2, double upstream_kpa, double upstream_c, double downstream_kpa) {
            return channel::throttle_flow_kg_s(area_mm2, upstream_kpa, upstream_c, downstream_kpa);
        },
        py::arg("area_mm2"), py::arg("upstream_kpa"), py::arg("upstream_c"), py::arg("downstream_kpa"));
    module.def("fit_speeds",
               [](const Numbers& reference_s, const Numbers& reference, const Numbers& other_s, const Numbers& other) {
                   return fit_of(channel::fit_speeds(series(reference_s, reference), series(other_s, other)));
               });
}

}  // namespace kurbel::python
