# Every public header compiles alone, with this build's compiler and with clang 14, warnings being errors. The streaming core
# also does so without exceptions and run-time types, and its object code calls nothing that allocates, throws or prints.
find_program(KURBEL_CLANGXX NAMES clang++-14 REQUIRED)
get_target_property(eigen_include Eigen3::Eigen INTERFACE_INCLUDE_DIRECTORIES)

set(kurbel_alone_flags -fsyntax-only -I${PROJECT_SOURCE_DIR}/include -isystem ${eigen_include} -Wall -Wextra -Wpedantic
    -Wshadow -Wconversion -Wsign-conversion -Wdouble-promotion -Werror)
set(kurbel_alone_compilers "${CMAKE_CXX_COMPILER}" "${KURBEL_CLANGXX}")
list(REMOVE_DUPLICATES kurbel_alone_compilers)

foreach(header IN LISTS kurbel_public_headers)
  string(REGEX REPLACE "^include/" "" name "${header}")
  set(unit "${CMAKE_CURRENT_BINARY_DIR}/header_alone/${name}.cpp")
  file(CONFIGURE OUTPUT "${unit}" CONTENT "#include \"${name}\"\n#include \"${name}\"\n")
  # What must run on a small target: layers core, stage, detector and signal.
  set(core_flags "")
  if(name MATCHES "^kurbel/(core|stage|signal)/|^kurbel/detector")
    set(core_flags -fno-exceptions -fno-rtti)
  endif()
  foreach(compiler IN LISTS kurbel_alone_compilers)
    get_filename_component(compiler_name "${compiler}" NAME)
    add_test(NAME "header_alone.${compiler_name}.${name}"
             COMMAND "${compiler}" -std=c++20 ${kurbel_alone_flags} ${core_flags} "${unit}")
    set_tests_properties("header_alone.${compiler_name}.${name}" PROPERTIES LABELS headers)
  endforeach()
endforeach()

set(unit "${CMAKE_CURRENT_BINARY_DIR}/header_alone/kurbel.h.c")
file(CONFIGURE OUTPUT "${unit}" CONTENT "#include \"kurbel/kurbel.h\"\n#include \"kurbel/kurbel.h\"\nint main(void) { return 0; }\n")
add_test(NAME header_alone.c99.kurbel.h
         COMMAND "${CMAKE_C_COMPILER}" -std=c99 -pedantic -Wall -Wextra -Wconversion -Werror -fsyntax-only
                 -I${PROJECT_SOURCE_DIR}/include "${unit}")
set_tests_properties(header_alone.c99.kurbel.h PROPERTIES LABELS headers)

# The whole Detector for double and float, optimised, without exceptions: what it still needs from outside is listed by nm.
add_library(kurbel_core_alone OBJECT core/core_alone.cpp)
target_link_libraries(kurbel_core_alone PRIVATE kurbel_headers kurbel_flags)
target_compile_options(kurbel_core_alone PRIVATE -fno-exceptions -fno-rtti -O2 -fno-sanitize=all)
target_compile_definitions(kurbel_core_alone PRIVATE NDEBUG EIGEN_NO_MALLOC
                           EIGEN_STACK_ALLOCATION_LIMIT=0xffffffffffffffffull)
# How much state a small target needs: proved by compiling. Nobody runs that object, so nothing is spent on optimising it.
add_library(kurbel_core_small OBJECT core/core_small.cpp)
target_link_libraries(kurbel_core_small PRIVATE kurbel_headers kurbel_flags)
target_compile_options(kurbel_core_small PRIVATE -fno-exceptions -fno-rtti -O0 -fno-sanitize=all)
find_package(Python 3.11 REQUIRED COMPONENTS Interpreter)
# Without exceptions Eigen stands in for a throw by asking operator new for more than there is; g++ drops that, clang keeps it.
set(kurbel_core_also "")
if(CMAKE_CXX_COMPILER_ID STREQUAL "Clang")
  set(kurbel_core_also --also=_Znwm)
endif()
add_test(NAME core_alone.symbols
         COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/core/check_symbols.py" "${CMAKE_NM}"
                 ${kurbel_core_also} $<TARGET_OBJECTS:kurbel_core_alone>
         COMMAND_EXPAND_LISTS)
set_tests_properties(core_alone.symbols PROPERTIES LABELS headers)

# A reader finds every header of the stages by their README.
add_test(NAME stage.readme
         COMMAND "${Python_EXECUTABLE}" "${CMAKE_CURRENT_SOURCE_DIR}/core/check_stage_readme.py"
                 "${PROJECT_SOURCE_DIR}/include/kurbel/stage")
set_tests_properties(stage.readme PROPERTIES LABELS headers)
