# Learned teeth against the simulator's truth and a least-squares fit in NumPy; a missing library is an error.
find_package(Python 3.11 REQUIRED COMPONENTS Interpreter)
if(TARGET kurbel_command)
  add_test(NAME outside.pitch_numpy
           COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/pitch_numpy.py" $<TARGET_FILE:kurbel_command>
                   "${CMAKE_CURRENT_SOURCE_DIR}/outside/coasting5.toml")
  set_tests_properties(outside.pitch_numpy PROPERTIES LABELS outside ENVIRONMENT "PYTHONDONTWRITEBYTECODE=1")
endif()
