// The study of patterns.
#include "kurbel/study/pattern.hpp"

#include <pybind11/stl.h>

#include "bind.hpp"

namespace kurbel::python {

namespace {

Answer pattern_of_folders(const std::vector<std::string>& folders) {
    std::vector<JudgedRecording> judged;
    for (const std::string& folder : folders) judged.push_back(judge_folder(folder));
    return pattern(judged);
}

}  // namespace

void bind_pattern(py::module_& module) {
    module.def("pattern", &pattern_of_folders, py::arg("folders"), py::call_guard<py::gil_scoped_release>());
}

}  // namespace kurbel::python
