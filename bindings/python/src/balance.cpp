// The studies that compare cylinders, running and cranked.
#include <string>

#include "bind.hpp"
#include "kurbel/read/recording.hpp"
#include "kurbel/study/cranking.hpp"
#include "kurbel/study/work.hpp"

namespace kurbel::python {

namespace {

Answer work_of_folder(const std::string& folder, double limit) {
    return study_work(read::read_recording(folder), folder, {.limit_percent = limit});
}

Answer cranking_of_folder(const std::string& folder, double limit) {
    return study_cranking(read::read_recording(folder), folder, {.limit_percent = limit});
}

}  // namespace

void bind_balance(py::module_& module) {
    module.def("work", &work_of_folder, py::arg("folder"), py::arg("limit"), py::call_guard<py::gil_scoped_release>());
    module.def("cranking", &cranking_of_folder, py::arg("folder"), py::arg("limit"),
               py::call_guard<py::gil_scoped_release>());
}

}  // namespace kurbel::python
