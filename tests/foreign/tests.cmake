# Files of others, written by independent libraries in the environment that .ci/readers-env makes. Where it is missing the tests fail.
if(TARGET kurbel_command)
  set(KURBEL_READERS_ENV "${PROJECT_SOURCE_DIR}/build/readers-env" CACHE PATH "Virtual environment with asammdf, pyarrow and pyvcd")
  foreach(part formats waveforms bad_files streams guide inspect units)
    add_test(NAME foreign.${part}
             COMMAND "${CMAKE_CURRENT_SOURCE_DIR}/foreign/run" "${KURBEL_READERS_ENV}" "${CMAKE_CURRENT_SOURCE_DIR}/foreign/test_${part}.py")
    set_tests_properties(foreign.${part} PROPERTIES LABELS foreign COST 10
                         ENVIRONMENT "KURBEL_PROGRAM=$<TARGET_FILE:kurbel_command>")
  endforeach()
endif()
