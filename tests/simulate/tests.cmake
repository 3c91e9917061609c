# Every key that a scenario file accepts is told of.
find_package(Python 3.11 REQUIRED COMPONENTS Interpreter)
add_test(NAME simulate.scenario_keys
         COMMAND "${Python_EXECUTABLE}" -B "${CMAKE_CURRENT_SOURCE_DIR}/simulate/scenario_keys.py" "${PROJECT_SOURCE_DIR}")
set_tests_properties(simulate.scenario_keys PROPERTIES LABELS simulate)
