// The streaming core as a small target would compile it: both number types, no exceptions, no run-time types.
#include <type_traits>

#include "kurbel/detector.hpp"

template class kurbel::BasicDetector<double>;
template class kurbel::BasicDetector<float>;

// A snapshot is a copy, and 16 cylinders on a 60-2 wheel must fit a small target's memory.
static_assert(std::is_trivially_copyable_v<kurbel::BasicDetector<double>>);
static_assert(std::is_trivially_copyable_v<kurbel::BasicDetector<float>>);
