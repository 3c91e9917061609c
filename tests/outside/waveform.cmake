# Edges of waveforms made by SciPy; a missing library is an error, not a skip.
if(KURBEL_BUILD_PYTHON)
  add_test(NAME outside.waveform_scipy
           COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/outside/waveform_scipy.py")
  set_tests_properties(outside.waveform_scipy PROPERTIES LABELS outside ENVIRONMENT
      "PYTHONPATH=${PROJECT_BINARY_DIR}/python;PYTHONDONTWRITEBYTECODE=1")
endif()
