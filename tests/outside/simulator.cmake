# The simulator against SciPy and NumPy: a small program shows its inside, scripts compute the same by other means. A missing
# library is an error, not a skip.
add_executable(simulator_probe outside/simulator_probe.cpp)
target_link_libraries(simulator_probe PRIVATE kurbel kurbel_flags)

set(kurbel_check_engine "${CMAKE_CURRENT_SOURCE_DIR}/outside/inline5.toml")
foreach(check simulator_ode torsion_modes torque_orders)
  add_test(NAME outside.${check}
           COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/${check}.py"
                   $<TARGET_FILE:simulator_probe> "${kurbel_check_engine}")
  set_tests_properties(outside.${check} PROPERTIES LABELS outside TIMEOUT 300
                       ENVIRONMENT "PYTHONDONTWRITEBYTECODE=1")
endforeach()
