// The streaming class.
#include <memory>
#include <string>

#include "bind.hpp"
#include "kurbel/snapshot.hpp"
#include "stream.hpp"

namespace kurbel::python {
namespace {

py::array push(Stream& stream, const Ticks& ticks, const Bytes& signals) {
    {
        const EdgeSpan edges{ticks.data(), signals.size() == 0 ? nullptr : signals.data(),
                             static_cast<std::size_t>(ticks.size())};
        const py::gil_scoped_release released;
        stream.push(edges);
    }
    return events_array(stream.take());
}

py::array push_channel(Stream& stream, std::int64_t tick, std::uint8_t channel, double value) {
    stream.push(read::ChannelRow{tick, static_cast<Channel>(channel), value});
    return events_array(stream.take());
}

py::array finish(Stream& stream) {
    stream.finish();
    return events_array(stream.take());
}

py::bytes snapshot(const Stream& stream) {
    std::string bytes(kSnapshotSize<double>, '\0');
    raise_if_bad(write_snapshot(stream.detector, bytes.data(), bytes.size()));
    return py::bytes(bytes);
}

std::unique_ptr<Stream> from_snapshot(const std::string& bytes) {
    auto stream = std::make_unique<Stream>();
    raise_if_bad(read_snapshot(bytes.data(), bytes.size(), stream->detector));
    return stream;
}

}  // namespace

void bind_detector(py::module_& module) {
    py::class_<Stream>(module, "Stream")
        .def(py::init<const Config&>(), py::arg("config"))
        .def("push", &push, py::arg("ticks").noconvert(), py::arg("signals").noconvert())
        .def("push_channel", &push_channel, py::arg("tick"), py::arg("channel"), py::arg("value"))
        .def("finish", &finish)
        .def("reset",
             [](Stream& stream) {
                 stream.detector.reset();
                 stream.events.clear();
             })
        .def_property_readonly("sync", [](const Stream& stream) { return stream.detector.sync(); })
        .def_property_readonly("config", [](const Stream& stream) { return stream.detector.config(); })
        .def_property_readonly("delay_cycles", [](const Stream& stream) { return stream.detector.delay_cycles(); })
        .def("snapshot", &snapshot)
        .def_static("from_snapshot", &from_snapshot, py::arg("snapshot"));
}

}  // namespace kurbel::python
