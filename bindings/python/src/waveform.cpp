// Edges of a waveform that lies in a NumPy array.
#include <bit>
#include <span>
#include <vector>

#include "bind.hpp"
#include "kurbel/read/edges_from_waveform.hpp"

namespace kurbel::python {
namespace {

/// As Python sees an edge; quality and errors as double.
struct EdgeRow {
    std::int64_t tick;
    double time_s;
    double std_error_s;
    double quality;
    double swing;
    double slope_per_s;
    std::uint8_t flank;
};

py::dict as_dict(const signal::WaveformReport& report) {
    py::dict out;
    out["samples"] = report.samples;
    out["bad_samples"] = report.bad_samples;
    out["edges"] = report.edges;
    out["dropouts"] = report.dropouts;
    out["kind"] = name(report.kind);
    out["flank"] = name(report.flank);
    out["flank_sure"] = report.flank_sure;
    out["swing"] = report.swing;
    out["middle"] = report.middle;
    out["noise"] = report.noise;
    out["snr_db"] = report.snr_db;
    out["tooth_hz"] = report.tooth_hz;
    out["slope_samples"] = report.slope_samples;
    out["hum"] = report.hum;
    out["hum_hz"] = report.hum_hz;
    out["clipped_share"] = report.clipped_share;
    out["steps"] = report.steps;
    py::list findings;
    py::list advice;
    for (int bit = 0; bit < signal::kFindings; ++bit)
        if ((report.findings >> bit) & 1U) {
            findings.append(signal::finding_name(bit));
            advice.append(signal::finding_advice(bit));
        }
    out["findings"] = py::tuple(findings);
    out["advice"] = py::tuple(advice);
    return out;
}

template <class Sample>
py::tuple run(const py::array& samples, const signal::WaveformSettings& settings) {
    const std::span<const Sample> view(static_cast<const Sample*>(samples.data()),
                                       static_cast<std::size_t>(samples.size()));
    auto result = [&] {
        const py::gil_scoped_release released;
        return read::edges_from_waveform(view, settings);
    }();
    raise_if_bad(result.status);
    py::array_t<EdgeRow> rows(static_cast<py::ssize_t>(result.value.edges.size()));
    EdgeRow* row = rows.mutable_data();
    for (const signal::WaveformEdge& edge : result.value.edges)
        *row++ = {edge.tick,
                  edge.time_s,
                  static_cast<double>(edge.std_error_s),
                  static_cast<double>(edge.quality),
                  static_cast<double>(edge.swing),
                  static_cast<double>(edge.slope_per_s),
                  static_cast<std::uint8_t>(edge.flank)};
    return py::make_tuple(rows, as_dict(result.value.report));
}

/// `samples` is one-dimensional and contiguous: the Python layer sees to that.
py::tuple edges_from_waveform(const py::array& samples, double rate_hz, double tick_hz, std::int64_t first_tick,
                              double scale, double least_swing, int kind, int flank) {
    signal::WaveformSettings settings;
    settings.rate_hz = rate_hz;
    settings.tick_hz = tick_hz;
    settings.first_tick = first_tick;
    settings.scale = scale;
    settings.least_swing = least_swing;
    settings.kind = static_cast<signal::SensorKind>(kind);
    settings.flank = static_cast<signal::Flank>(flank);
    const py::dtype type = samples.dtype();
    if (type.equal(py::dtype::of<double>())) return run<double>(samples, settings);
    if (type.equal(py::dtype::of<float>())) return run<float>(samples, settings);
    if (type.equal(py::dtype::of<std::int16_t>())) return run<std::int16_t>(samples, settings);
    if (type.equal(py::dtype::of<std::int32_t>())) return run<std::int32_t>(samples, settings);
    if (type.equal(py::dtype::of<std::uint8_t>())) return run<std::uint8_t>(samples, settings);
    throw py::type_error("samples: this dtype is not known");
}

}  // namespace

void bind_waveform(py::module_& module) {
    PYBIND11_NUMPY_DTYPE(EdgeRow, tick, time_s, std_error_s, quality, swing, slope_per_s, flank);
    module.attr("EDGE_DTYPE") = py::dtype::of<EdgeRow>();
    module.def("edges_from_waveform", &edges_from_waveform, py::arg("samples"), py::kw_only(), py::arg("rate_hz"),
               py::arg("tick_hz"), py::arg("first_tick"), py::arg("scale"), py::arg("least_swing"), py::arg("kind"),
               py::arg("flank"));
    module.def(
        "channels_swapped",
        [](std::int64_t crank_edges, std::int64_t cam_edges) {
            const int bit = std::countr_zero(static_cast<std::uint32_t>(signal::Finding::channels_swapped));
            return py::make_tuple(signal::finding_name(bit), signal::finding_advice(bit),
                                  signal::channels_swapped(crank_edges, cam_edges));
        },
        py::arg("crank_edges"), py::arg("cam_edges"));
}

}  // namespace kurbel::python
