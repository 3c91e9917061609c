// The streaming core for a target that knows its wheel: 16 cylinders and 60 places fit into 64 KiB.
#define KURBEL_TEETH_ROOM 60
#define KURBEL_FIRST_CYCLES 4
#include "kurbel/detector.hpp"

// The number type of such targets; what the room changes in double's members is the same, core_alone.cpp compiles them.
template class kurbel::BasicDetector<float>;

static_assert(sizeof(kurbel::BasicDetector<double>) <= 64 * 1024);
static_assert(sizeof(kurbel::BasicDetector<float>) <= 64 * 1024);
