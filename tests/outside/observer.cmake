# The detection table's trained observer against scikit-learn; a missing scikit-learn fails.
if(KURBEL_BUILD_BENCH AND KURBEL_BUILD_COMMAND)
  find_package(Python 3.11 REQUIRED COMPONENTS Interpreter)
  add_executable(observer_probe outside/observer_probe.cpp)
  target_link_libraries(observer_probe PRIVATE kurbel_detection_cells kurbel_flags)
  add_test(NAME outside.observer_sklearn
           COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/observer_sklearn.py"
                   $<TARGET_FILE:kurbel_command> $<TARGET_FILE:observer_probe>
                   "${PROJECT_SOURCE_DIR}/datasets/cells/layout-inline5.toml")
  set_tests_properties(outside.observer_sklearn PROPERTIES LABELS outside)
endif()
