// What edges alone tell.
#include <pybind11/stl.h>

#include "bind.hpp"
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

}  // namespace

void bind_inspect(py::module_& module) {
    module.def("inspect_input", &inspect_input, py::arg("input"), py::call_guard<py::gil_scoped_release>());
    module.def("inspect_arrays", &inspect_arrays, py::arg("ticks"), py::arg("signals"), py::arg("hz"), py::arg("bits"),
               py::arg("fuel_cut_s"));
}

}  // namespace kurbel::python
