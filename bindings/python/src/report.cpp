// The report.
#include "kurbel/study/report.hpp"

#include <pybind11/stl.h>

#include "bind.hpp"

namespace kurbel::python {

void bind_report(py::module_& module) {
    module.def(
        "write_report",
        [](const std::vector<std::string>& folders, const std::string& path, const std::string& title,
           const std::string& note) {
            write_report({folders, title, note}, path);
        },
        py::arg("folders"), py::arg("path"), py::arg("title"), py::arg("note"));
}

}  // namespace kurbel::python
