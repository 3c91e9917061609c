# Two-sample tests and sample sizes against SciPy; a missing SciPy fails.
find_package(Python 3.11 REQUIRED COMPONENTS Interpreter)
add_executable(two_sample_probe outside/two_sample_probe.cpp)
target_link_libraries(two_sample_probe PRIVATE kurbel_headers kurbel_flags)
add_test(NAME outside.two_sample_scipy
         COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/two_sample_scipy.py" $<TARGET_FILE:two_sample_probe>)
set_tests_properties(outside.two_sample_scipy PROPERTIES LABELS outside)
