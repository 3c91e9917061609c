# Crank, driveline, road and the shipped engine files against SciPy, NumPy and trade facts. A missing library is an error.
add_executable(machine_probe outside/machine_probe.cpp)
target_link_libraries(machine_probe PRIVATE kurbel kurbel_flags)

foreach(check engine_layouts machine_modes driveline_response road_roughness)
  add_test(NAME outside.${check}
           COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/${check}.py"
                   $<TARGET_FILE:machine_probe> "${PROJECT_SOURCE_DIR}/datasets/engines")
  set_tests_properties(outside.${check} PROPERTIES LABELS outside TIMEOUT 300
                       ENVIRONMENT "PYTHONDONTWRITEBYTECODE=1")
endforeach()
