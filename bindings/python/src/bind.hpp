// What the parts of the Python module share.
#pragma once

#include <pybind11/numpy.h>
#include <pybind11/pybind11.h>

#include <cstdint>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"

namespace kurbel::python {

namespace py = pybind11;

/// Contiguous arrays of exactly this type; the Python layer converts anything else explicitly before it calls.
using Ticks = py::array_t<std::int64_t, py::array::c_style>;
using Bytes = py::array_t<std::uint8_t, py::array::c_style>;
using Numbers = py::array_t<double, py::array::c_style>;

/// Where a Status is an error, raises ValueError("parameter: why"); MemoryError and RuntimeError for the rest.
void raise_if_bad(const Status& status);

/// The events as a structured array that owns them; no copy.
[[nodiscard]] py::array events_array(std::vector<Event>&& events);

void bind_config(py::module_& module);
void bind_run(py::module_& module);
void bind_detector(py::module_& module);
void bind_waveform(py::module_& module);
void bind_answer(py::module_& module);
void bind_swap(py::module_& module);
void bind_pattern(py::module_& module);
void bind_balance(py::module_& module);
void bind_report(py::module_& module);
void bind_wheel(py::module_& module);
void bind_inspect(py::module_& module);
void bind_channel(py::module_& module);

}  // namespace kurbel::python
