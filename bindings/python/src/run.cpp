// Whole recordings: from files, and from arrays that are looked at where they lie.
#include <string>
#include <utility>

#include "bind.hpp"
#include "kurbel/read/analysis.hpp"
#include "kurbel/read/recording.hpp"

namespace kurbel::python {
namespace {

using read::Recording;

py::tuple answer(Result<read::Analysis>&& result) {
    raise_if_bad(result.status);
    return py::make_tuple(events_array(std::move(result.value.events)), result.value.sync);
}

py::tuple run_recording(const Recording& recording, const Config& config) {
    return answer([&] {
        const py::gil_scoped_release released;
        return read::analyze(config, read::view_of(recording));
    }());
}

std::vector<read::ChannelRow> channel_rows(const Ticks& ticks, const Bytes& channels, const Numbers& values) {
    std::vector<read::ChannelRow> rows(static_cast<std::size_t>(ticks.size()));
    for (std::size_t i = 0; i < rows.size(); ++i)
        rows[i] = {ticks.data()[i], static_cast<Channel>(channels.data()[i]), values.data()[i]};
    return rows;
}

py::tuple run_arrays(const Config& config, const Ticks& ticks, const Bytes& signals, const Ticks& channel_ticks,
                     const Bytes& channels, const Numbers& channel_values) {
    const auto rows = channel_rows(channel_ticks, channels, channel_values);
    const read::EdgeView view{.tick = ticks.data(),
                              .signal = signals.size() == 0 ? nullptr : signals.data(),
                              .edges = static_cast<std::size_t>(ticks.size()),
                              .channel = rows.data(),
                              .channels = rows.size(),
                              .timer_bits = config.timer.bits};
    return answer([&] {
        const py::gil_scoped_release released;
        return read::analyze(config, view);
    }());
}

/// A view of a recording's own memory; the array keeps the recording alive.
template <class Item>
py::array view(const std::vector<Item>& items, const py::object& owner) {
    py::array_t<Item> array(static_cast<py::ssize_t>(items.size()), items.data(), owner);
    array.attr("setflags")(py::arg("write") = false);
    return array;
}

}  // namespace

void bind_run(py::module_& module) {
    py::class_<SyncState>(module, "Sync")
        .def_readonly("edges", &SyncState::edges)
        .def_readonly("teeth", &SyncState::teeth)
        .def_readonly("revolutions", &SyncState::revolutions)
        .def_readonly("losses", &SyncState::losses)
        .def_readonly("extra", &SyncState::extra)
        .def_readonly("missed", &SyncState::missed)
        .def_readonly("faults", &SyncState::faults)
        .def_readonly("synchronised", &SyncState::synchronised)
        .def_property_readonly("phase", [](const SyncState& sync) { return name(sync.phase); });
    py::class_<Recording>(module, "Recording")
        .def_property_readonly("ticks", [](const py::object& self) { return view(self.cast<Recording&>().tick, self); })
        .def_property_readonly("signals",
                               [](const py::object& self) { return view(self.cast<Recording&>().signal, self); })
        .def_readonly("config", &Recording::config);
    module.def(
        "read_recording",
        [](const std::string& folder) { return read::read_recording(folder, {}, read::Labels::left_out); },
        py::arg("folder"), py::call_guard<py::gil_scoped_release>());
    module.def("run_recording", &run_recording, py::arg("recording"), py::arg("config"));
    module.def("run_arrays", &run_arrays, py::arg("config"), py::arg("ticks").noconvert(),
               py::arg("signals").noconvert(), py::arg("channel_ticks").noconvert(), py::arg("channels").noconvert(),
               py::arg("channel_values").noconvert());
}

}  // namespace kurbel::python
