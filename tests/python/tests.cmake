# The Python package as it lies in the build folder, tested by the interpreter it was built for.
if(KURBEL_BUILD_PYTHON)
  foreach(file test_analyze test_balance test_config test_detector test_package test_pattern test_report test_swap test_waveform test_wheel test_inspect test_channel)
    # In the build folder, not in /tmp: the wheel's objects then lie as this build's do, which lets a compiler cache serve both.
    add_test(NAME python.${file}
             COMMAND "${Python_EXECUTABLE}" -m pytest -q -p no:cacheprovider --basetemp=${PROJECT_BINARY_DIR}/${file}
                     -c "${PROJECT_SOURCE_DIR}/pyproject.toml" "${CMAKE_CURRENT_SOURCE_DIR}/python/${file}.py")
    set_tests_properties(python.${file} PROPERTIES LABELS python ENVIRONMENT
        "PYTHONPATH=${PROJECT_BINARY_DIR}/python;PYTHONDONTWRITEBYTECODE=1;KURBEL_SOURCE=${PROJECT_SOURCE_DIR}")
  endforeach()
  # Builds the wheel.
  set_tests_properties(python.test_package PROPERTIES COST 300)
endif()
