# The real program from outside: calls, bad input, results. A missing interpreter or package fails.
find_package(Python 3.11 REQUIRED COMPONENTS Interpreter)
if(TARGET kurbel_command)
  foreach(part calls bad_input balance analyze score simulate warnings pattern report report_page story refusals swap wheel inspect)
    add_test(NAME command.${part}
             COMMAND "${Python_EXECUTABLE}" -B -m pytest -q -p no:cacheprovider
                     "${CMAKE_CURRENT_SOURCE_DIR}/command/test_${part}.py")
    set_tests_properties(command.${part} PROPERTIES LABELS command COST 5
                         ENVIRONMENT "KURBEL_PROGRAM=$<TARGET_FILE:kurbel_command>")
  endforeach()
endif()
