// Learned wheels: from a recording, from and to a file, into a configuration.
#include <pybind11/stl.h>

#include "bind.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/read/wheel_file.hpp"
#include "kurbel/read/wheel_learning.hpp"

namespace kurbel::python {
namespace {

using read::LearnedWheel;
using read::Recording;
using read::WheelFile;

LearnedWheel learned(const Recording& recording) {
    Result<LearnedWheel> result;
    {
        const py::gil_scoped_release released;
        result = read::learn_wheel(recording);
    }
    raise_if_bad(result.status);
    return result.value;
}

WheelFile learn(const Recording& recording) {
    LearnedWheel wheel = learned(recording);
    if (wheel.wheel.errors.teeth == 0)
        throw py::value_error("recording: holds too little to learn a wheel from: no engine cycle with every tooth");
    return wheel.wheel;
}

py::tuple compare(const WheelFile& wheel, Recording recording) {
    read::use_wheel_file("wheel", wheel, recording.config);
    const WheelFit fit = learned(recording).fit;
    return py::make_tuple(fit.log_odds, fit.rms_left_deg, fit.chi_square, fit.patterns);
}

Config use(const WheelFile& wheel, Config config) {
    read::use_wheel_file("wheel", wheel, config);
    return config;
}

py::array_t<double> numbers(const std::array<float, kMaxTeeth>& values, int count) {
    py::array_t<double> array(count);
    for (int i = 0; i < count; ++i) array.mutable_data()[i] = static_cast<double>(values[static_cast<std::size_t>(i)]);
    return array;
}

}  // namespace

void bind_wheel(py::module_& module) {
    py::class_<WheelFile>(module, "LearnedWheel")
        .def_static("learn", &learn, py::arg("recording"))
        .def_static("read", &read::read_wheel_file, py::arg("path"))
        .def("write", [](const WheelFile& wheel, const std::string& path) { read::write_wheel_file(path, wheel); })
        .def("use", &use, py::arg("config"))
        .def("compare", &compare, py::arg("recording"))
        .def_property_readonly("teeth", [](const WheelFile& wheel) { return wheel.errors.teeth; })
        .def_readonly("revolutions", &WheelFile::revolutions)
        .def_property_readonly("angle_deg",
                               [](const WheelFile& w) { return numbers(w.wheel.angle_deg, w.errors.teeth); })
        .def_property_readonly("error_deg",
                               [](const WheelFile& w) { return numbers(w.errors.error_deg, w.errors.teeth); })
        .def_property_readonly("standard_error_deg",
                               [](const WheelFile& w) { return numbers(w.se_deg, w.errors.teeth); });
}

}  // namespace kurbel::python
