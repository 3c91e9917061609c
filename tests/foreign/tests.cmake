# Files of others, written by independent libraries in the environment that .ci/readers-env makes. Where it is missing the tests fail.
if(TARGET kurbel_command)
  set(KURBEL_READERS_ENV "${PROJECT_SOURCE_DIR}/build/readers-env" CACHE PATH "Virtual environment with asammdf, pyarrow and pyvcd")
  # Few processes, because each loads the libraries anew.
  set(KURBEL_FOREIGN_readers formats waveforms units inspect guide)
  set(KURBEL_FOREIGN_limits bad_files streams)
  foreach(part readers limits)
    list(TRANSFORM KURBEL_FOREIGN_${part} PREPEND "${CMAKE_CURRENT_SOURCE_DIR}/foreign/test_" OUTPUT_VARIABLE files)
    list(TRANSFORM files APPEND ".py")
    add_test(NAME foreign.${part} COMMAND "${CMAKE_CURRENT_SOURCE_DIR}/foreign/run" "${KURBEL_READERS_ENV}" ${files})
    set_tests_properties(foreign.${part} PROPERTIES LABELS foreign COST 20
                         ENVIRONMENT "KURBEL_PROGRAM=$<TARGET_FILE:kurbel_command>")
  endforeach()
endif()
