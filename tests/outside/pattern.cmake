# Statistics of the study of patterns against SciPy; a missing SciPy fails.
find_package(Python 3.11 REQUIRED COMPONENTS Interpreter)
add_executable(pattern_probe outside/pattern_probe.cpp)
target_link_libraries(pattern_probe PRIVATE kurbel kurbel_flags)
add_test(NAME outside.pattern_scipy
         COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/pattern_scipy.py" $<TARGET_FILE:pattern_probe>)
set_tests_properties(outside.pattern_scipy PROPERTIES LABELS outside)
