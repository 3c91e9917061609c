# Exact binomial intervals against SciPy; a missing SciPy fails.
find_package(Python 3.11 REQUIRED COMPONENTS Interpreter)
add_executable(binomial_probe outside/binomial_probe.cpp)
target_link_libraries(binomial_probe PRIVATE kurbel_headers kurbel_flags)
add_test(NAME outside.binomial_scipy
         COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/binomial_scipy.py" $<TARGET_FILE:binomial_probe>)
set_tests_properties(outside.binomial_scipy PROPERTIES LABELS outside)
