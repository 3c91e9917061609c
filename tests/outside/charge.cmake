# Intake, burn, mean pressures and speed ripple against SciPy, NumPy and handbook values; a missing library is an error.
add_executable(charge_probe outside/charge_probe.cpp)
target_link_libraries(charge_probe PRIVATE kurbel kurbel_flags)

foreach(check plenum_filling burn_cut mean_pressures)
  add_test(NAME outside.${check}
           COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/${check}.py" $<TARGET_FILE:charge_probe>
                   "${CMAKE_CURRENT_SOURCE_DIR}/outside/plenum4.toml")
  set_tests_properties(outside.${check} PROPERTIES LABELS outside TIMEOUT 300
                       ENVIRONMENT "PYTHONDONTWRITEBYTECODE=1")
endforeach()
add_test(NAME outside.speed_ripple
         COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/speed_ripple.py"
                 $<TARGET_FILE:simulator_probe>)
set_tests_properties(outside.speed_ripple PROPERTIES LABELS outside TIMEOUT 300
                     ENVIRONMENT "PYTHONDONTWRITEBYTECODE=1")
