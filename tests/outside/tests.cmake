# Scripts that check against outside sources, by part.
include(${CMAKE_CURRENT_LIST_DIR}/simulator.cmake)
include(${CMAKE_CURRENT_LIST_DIR}/binomial.cmake)
include(${CMAKE_CURRENT_LIST_DIR}/machine.cmake)
include(${CMAKE_CURRENT_LIST_DIR}/sensor.cmake)
include(${CMAKE_CURRENT_LIST_DIR}/charge.cmake)
include(${CMAKE_CURRENT_LIST_DIR}/pattern.cmake)
include(${CMAKE_CURRENT_LIST_DIR}/observer.cmake)
include(${CMAKE_CURRENT_LIST_DIR}/two_sample.cmake)
