# The inductive sensor against a waveform made in NumPy; a missing library is an error, not a skip.
add_executable(sensor_probe outside/sensor_probe.cpp)
target_link_libraries(sensor_probe PRIVATE kurbel kurbel_flags)
add_test(NAME outside.inductive_waveform
         COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/inductive_waveform.py"
                 $<TARGET_FILE:sensor_probe> "${CMAKE_CURRENT_SOURCE_DIR}/outside/coil.toml")
set_tests_properties(outside.inductive_waveform PROPERTIES LABELS outside ENVIRONMENT "PYTHONDONTWRITEBYTECODE=1")
# What --describe tells, against the simulator's own recordings.
if(TARGET kurbel_command)
  add_test(NAME outside.description_numpy
           COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/description_numpy.py"
                   $<TARGET_FILE:kurbel_command> $<TARGET_FILE:simulator_probe>
                   "${CMAKE_CURRENT_SOURCE_DIR}/outside/plain4.toml")
  set_tests_properties(outside.description_numpy PROPERTIES LABELS outside ENVIRONMENT "PYTHONDONTWRITEBYTECODE=1")
endif()
