// The compiled half of the Python package: plain, strict calls; comfort lives in the package's Python files.
#include "bind.hpp"

#include <memory>
#include <stdexcept>
#include <string>

#include "kurbel/core/version.hpp"
#include "kurbel/read/input_error.hpp"

namespace kurbel::python {

void raise_if_bad(const Status& status) {
    if (status.ok()) return;
    std::string text = status.parameter;
    if (!text.empty()) text += ": ";
    text += *status.why ? status.why : status_message(static_cast<std::int32_t>(status.code));
    if (status.code == StatusCode::out_of_memory) throw std::bad_alloc();
    if (status.code == StatusCode::internal || status.code == StatusCode::bad_order) throw std::runtime_error(text);
    throw py::value_error(text);
}

py::array events_array(std::vector<Event>&& events) {
    auto owner = std::make_unique<std::vector<Event>>(std::move(events));
    const auto size = static_cast<py::ssize_t>(owner->size());
    const Event* data = owner->data();
    const py::capsule base(owner.release(), [](void* vector) { delete static_cast<std::vector<Event>*>(vector); });
    return py::array_t<Event>(size, data, base);
}

namespace {

void bind_types(py::module_& module) {
    PYBIND11_NUMPY_DTYPE(Event, time_s, cycle, cylinder, candidates, speed_rpm, load, acceleration_rad_s2, work_j,
                         work_se_j, expected_j, work_per_inertia, work_se_per_inertia, expected_per_inertia, severity,
                         evidence, threshold, probability, verdict, reason);
    module.attr("EVENT_DTYPE") = py::dtype::of<Event>();
    py::list verdicts;
    py::list reasons;
    for (int i = 0; i <= static_cast<int>(Verdict::unjudged); ++i) verdicts.append(name(static_cast<Verdict>(i)));
    for (int i = 0; i <= static_cast<int>(Reason::learning); ++i) reasons.append(name(static_cast<Reason>(i)));
    module.attr("VERDICTS") = py::tuple(verdicts);
    module.attr("REASONS") = py::tuple(reasons);
}

}  // namespace
}  // namespace kurbel::python

PYBIND11_MODULE(_core, module) {
    using namespace kurbel::python;
    module.attr("__version__") = KURBEL_VERSION_STRING;
    // A file that cannot be used is a ValueError whose text names file, line and cause.
    const auto& error = pybind11::register_exception<kurbel::read::InputError>(module, "InputError", PyExc_ValueError);
    error.attr("__doc__") = "A file or folder that cannot be used; the text names file, line and cause. A ValueError.";
    bind_types(module);
    bind_config(module);
    bind_run(module);
    bind_detector(module);
    bind_waveform(module);
    bind_answer(module);
    bind_swap(module);
    bind_pattern(module);
    bind_balance(module);
    bind_report(module);
    bind_wheel(module);
    bind_inspect(module);
    bind_channel(module);
}
