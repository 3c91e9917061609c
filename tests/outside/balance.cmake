# Relative compression and work per cylinder against SciPy and NumPy; a missing library is an error, not a skip.
find_package(Python 3.11 REQUIRED COMPONENTS Interpreter)
if(TARGET kurbel_command)
  add_test(NAME outside.cranking_scipy
           COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/cranking_scipy.py"
                   $<TARGET_FILE:kurbel_command> "${CMAKE_CURRENT_SOURCE_DIR}/outside/cranked4.toml")
  add_test(NAME outside.work_numpy
           COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/work_numpy.py"
                   $<TARGET_FILE:kurbel_command> "${PROJECT_SOURCE_DIR}/datasets/engines/inline4.toml")
  set_tests_properties(outside.cranking_scipy outside.work_numpy PROPERTIES LABELS outside TIMEOUT 300
                       ENVIRONMENT "PYTHONDONTWRITEBYTECODE=1")
endif()
