# What strangers do: compile the C example as plain C99, install, and build their own projects against the installed tree.
add_executable(c_example ${PROJECT_SOURCE_DIR}/bindings/c/example.c)
target_link_libraries(c_example PRIVATE kurbel)
target_compile_options(c_example PRIVATE -std=c99 -pedantic -Wall -Wextra -Wconversion -Werror)
add_test(NAME c_example.finds_the_cylinder COMMAND c_example ${PROJECT_SOURCE_DIR}/datasets/pickup-1-before)
set_tests_properties(c_example.finds_the_cylinder PROPERTIES LABELS c_api
    PASS_REGULAR_EXPRESSION "misfire, cylinder 4, .*\ncylinder 1: .*\ncylinder 4: [1-9][0-9]+ misfires in")
add_test(NAME c_example.names_a_missing_file COMMAND c_example ${PROJECT_SOURCE_DIR}/datasets/absent)
set_tests_properties(c_example.names_a_missing_file PROPERTIES LABELS c_api PASS_REGULAR_EXPRESSION "datasets/absent.*: ")

add_test(NAME c_api.exports
         COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/c_api/check_exports.py" "${CMAKE_NM}"
                 $<TARGET_FILE:kurbel> "${PROJECT_SOURCE_DIR}/include/kurbel/kurbel.h")
set_tests_properties(c_api.exports PROPERTIES LABELS c_api)

if(KURBEL_BUILD_COMMAND)
  add_test(NAME consumer.installed_tree
           COMMAND bash "${CMAKE_CURRENT_SOURCE_DIR}/consumer/run" "${PROJECT_BINARY_DIR}" "${PROJECT_SOURCE_DIR}"
                   "${PROJECT_BINARY_DIR}/consumer" "${PROJECT_VERSION}" "${PROJECT_SOURCE_DIR}/datasets/pickup-1-before")
  set_tests_properties(consumer.installed_tree PROPERTIES LABELS consumer TIMEOUT 900 COST 30)
endif()
