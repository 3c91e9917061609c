// Channels made from what engines measure or from the crank, clocks, resampling.
#include <pybind11/stl.h>

#include "bind.hpp"
#include "kurbel/channel/crank_load.hpp"
#include "kurbel/channel/load.hpp"
#include "kurbel/channel/resample.hpp"

namespace kurbel::python {

namespace {

channel::Series series(const Numbers& time_s, const Numbers& value) {
    return {{time_s.data(), time_s.data() + time_s.size()}, {value.data(), value.data() + value.size()}};
}

std::vector<double> list(const Numbers& values) { return {values.data(), values.data() + values.size()}; }

Numbers array(const std::vector<double>& values) {
    return Numbers(static_cast<py::ssize_t>(values.size()), values.data());
}

py::tuple fit_of(const channel::ClockFit& fit) {
    return py::make_tuple(fit.offset_s, fit.drift, fit.error_s, fit.agreement);
}

/// Arrays stay arrays, also those of no dimension, and are broadcast against each other.
template <class Formula>
py::object over(const Numbers& values, Formula formula) {
    return py::array(py::vectorize(formula)(values));
}
template <class Formula>
py::object over(const Numbers& one, const Numbers& other, Formula formula) {
    return py::array(py::vectorize(formula)(one, other));
}

py::dict crank_load(const std::string& input) {
    channel::CrankLoad load;
    {
        const py::gil_scoped_release released;
        load = channel::load_from_crank(read::read_recording(input), input);
    }
    py::dict told;
    told["time_s"] = array(load.time_s);
    told["load"] = array(load.load);
    told["doubt"] = array(load.doubt);
    told["pistons_known"] = load.pistons_known;
    told["why_not"] = load.why_not;
    return told;
}

py::object throttle_load(const Numbers& open_deg, const Numbers& speed_rpm, double bore_mm, double closed_deg,
                         double leak_mm2, double discharge, double engine_cm3, int strokes, double upstream_kpa,
                         double upstream_c, double full_filling) {
    channel::Throttle throttle;
    throttle.bore_mm = bore_mm;
    throttle.closed_deg = closed_deg;
    throttle.leak_mm2 = leak_mm2;
    throttle.discharge = discharge;
    throttle.engine_cm3 = engine_cm3;
    throttle.strokes = strokes;
    throttle.upstream_kpa = upstream_kpa;
    throttle.upstream_c = upstream_c;
    throttle.charge.barometric_kpa = upstream_kpa;
    throttle.full_filling = full_filling;
    return over(open_deg, speed_rpm,
                [throttle](double deg, double rpm) { return channel::load_from_throttle(throttle, deg, rpm); });
}

void bind_loads(py::module_& module) {
    module.def(
        "load_from_manifold_pressure",
        [](const Numbers& manifold_kpa, double barometric_kpa, double compression_ratio, double exhaust_kpa,
           double gamma) {
            const channel::PressureToLoad how{barometric_kpa, compression_ratio, exhaust_kpa, gamma};
            return over(manifold_kpa, [how](double kpa) { return channel::load_from_manifold_pressure(kpa, how); });
        },
        py::arg("manifold_kpa"), py::kw_only(), py::arg("barometric_kpa"), py::arg("compression_ratio"),
        py::arg("exhaust_kpa"), py::arg("gamma"));
    module.def(
        "load_from_air_per_stroke",
        [](const Numbers& air_mg, double cylinder_cm3, double pressure_kpa, double temperature_c) {
            const channel::ReferenceAir air{pressure_kpa, temperature_c};
            return over(air_mg, [=](double mg) { return channel::load_from_air_per_stroke(mg, cylinder_cm3, air); });
        },
        py::arg("air_mg"), py::arg("cylinder_cm3"), py::kw_only(), py::arg("pressure_kpa"), py::arg("temperature_c"));
    module.def(
        "load_from_air_flow",
        [](const Numbers& flow_g_s, const Numbers& speed_rpm, double engine_cm3, int strokes, double pressure_kpa,
           double temperature_c) {
            const channel::ReferenceAir air{pressure_kpa, temperature_c};
            return over(flow_g_s, speed_rpm, [=](double flow, double rpm) {
                return channel::load_from_air_flow(flow, rpm, engine_cm3, strokes, air);
            });
        },
        py::arg("flow_g_s"), py::arg("speed_rpm"), py::arg("engine_cm3"), py::kw_only(), py::arg("strokes"),
        py::arg("pressure_kpa"), py::arg("temperature_c"));
    module.def("load_from_throttle", &throttle_load, py::arg("open_deg"), py::arg("speed_rpm"), py::kw_only(),
               py::arg("bore_mm"), py::arg("closed_deg"), py::arg("leak_mm2"), py::arg("discharge"),
               py::arg("engine_cm3"), py::arg("strokes"), py::arg("upstream_kpa"), py::arg("upstream_c"),
               py::arg("full_filling"));
    module.def("load_from_crank", &crank_load, py::arg("recording"));
}

}  // namespace

void bind_channel(py::module_& module) {
    bind_loads(module);
    module.def("resampled", [](const Numbers& time_s, const Numbers& value, const Numbers& at_s, int between) {
        return array(channel::resampled(series(time_s, value), list(at_s), static_cast<channel::Between>(between)));
    });
    module.def("fit_events", [](const Numbers& reference_s, const Numbers& other_s) {
        return fit_of(channel::fit_events(list(reference_s), list(other_s)));
    });
    module.def(
        "fit_speeds",
        [](const Numbers& reference_s, const Numbers& reference, const Numbers& other_s, const Numbers& other,
           double most_offset_s, double most_drift) {
            channel::ClockLimits limits;
            limits.most_offset_s = most_offset_s;
            limits.most_drift = most_drift;
            return fit_of(channel::fit_speeds(series(reference_s, reference), series(other_s, other), limits));
        },
        py::arg("reference_s"), py::arg("reference"), py::arg("other_s"), py::arg("other"), py::kw_only(),
        py::arg("most_offset_s"), py::arg("most_drift"));
}

}  // namespace kurbel::python
