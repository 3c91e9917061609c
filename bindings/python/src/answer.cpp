// Answers of studies as a plain object; the Python layer makes its own of it.
#include "kurbel/study/answer.hpp"

#include <pybind11/stl.h>

#include "bind.hpp"

namespace kurbel::python {

void bind_answer(py::module_& module) {
    py::class_<Answer>(module, "Answer")
        .def_readonly("study", &Answer::study)
        .def_readonly("question", &Answer::question)
        .def_readonly("verdict", &Answer::verdict)
        .def_readonly("sentence", &Answer::sentence)
        .def_readonly("table", &Answer::table)
        .def_readonly("evidence", &Answer::evidence)
        .def_readonly("cautions", &Answer::cautions)
        .def_readonly("picture", &Answer::picture)
        .def("save", &save_answer, py::arg("folder"));
}

}  // namespace kurbel::python
