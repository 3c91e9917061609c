// Swap test and repair verification.
#include "kurbel/study/swap.hpp"

#include <pybind11/stl.h>

#include <optional>
#include <utility>

#include "bind.hpp"
#include "kurbel/study/verify_recording.hpp"

namespace kurbel::python {

namespace {

std::vector<JudgedRecording> judged(const std::vector<std::string>& folders) {
    std::vector<JudgedRecording> side;
    for (const std::string& folder : folders) side.push_back(judge_folder(folder));
    return side;
}

Answer swap_of_folders(const std::vector<std::string>& before, const std::vector<std::string>& after,
                       const std::vector<std::pair<int, int>>& moved) {
    std::vector<Move> moves;
    for (const auto& [from, to] : moved) moves.push_back({from, to});
    return study_swap(judged(before), judged(after), moves);
}

Answer verify_of_folder(const std::string& folder, int cylinder, double limit, double confidence,
                        const std::optional<std::string>& before) {
    std::optional<JudgedRecording> with_fault;
    if (before) with_fault = judge_folder(*before);
    return study_verify(judge_folder(folder), cylinder, {.limit_percent = limit, .confidence_percent = confidence},
                        with_fault ? &*with_fault : nullptr);
}

RepairTest make_test(int cylinder, double limit, double confidence, double false_alarm, double dispersion) {
    const RepairQuestion question{.cylinder = cylinder,
                                  .limit = limit / 100.0,
                                  .confidence = confidence / 100.0,
                                  .false_alarm = false_alarm,
                                  .dispersion = dispersion};
    if (!RepairTest::valid(question))
        throw py::value_error(
            "cylinder: must lie in 1 to 16, limit in 0.01 to 50 percent and above twice false_alarm, confidence in 50 "
            "to "
            "99.99 percent, dispersion at 1 or above");
    return RepairTest(question);
}

void push(RepairTest& test, const py::array_t<Event>& events) {
    const auto view = events.unchecked<1>();
    for (py::ssize_t i = 0; i < view.shape(0); ++i) test.push(view(i));
}

}  // namespace

void bind_swap(py::module_& module) {
    module.def("swap", &swap_of_folders, py::arg("before"), py::arg("after"), py::arg("moved"),
               py::call_guard<py::gil_scoped_release>());
    module.def("verify", &verify_of_folder, py::arg("folder"), py::arg("cylinder"), py::arg("limit"),
               py::arg("confidence"), py::arg("before"), py::call_guard<py::gil_scoped_release>());
    py::class_<RepairTest>(module, "RepairTest")
        .def(py::init(&make_test), py::arg("cylinder"), py::arg("limit"), py::arg("confidence"), py::arg("false_alarm"),
             py::arg("dispersion"))
        .def("push", &push, py::arg("events").noconvert())
        .def_property_readonly("state", [](const RepairTest& test) { return name(test.state()); })
        .def_property_readonly("firings", &RepairTest::firings)
        .def_property_readonly("misfires", &RepairTest::misfires)
        .def_property_readonly("clean_needed", &RepairTest::clean_needed)
        .def_property_readonly("seconds_needed", &RepairTest::seconds_needed)
        .def_property_readonly("decided_s", &RepairTest::decided_s)
        .def_property_readonly("rate_upper", &RepairTest::rate_upper);
}

}  // namespace kurbel::python
