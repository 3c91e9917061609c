// The streaming core as a small target would compile it: both number types, no exceptions, no run-time types.
#include <type_traits>

#include "kurbel/detector.hpp"
#include "kurbel/signal/waveform_edges.hpp"

template class kurbel::BasicDetector<double>;
template class kurbel::BasicDetector<float>;

// A snapshot is a copy.
static_assert(std::is_trivially_copyable_v<kurbel::BasicDetector<double>>);
static_assert(std::is_trivially_copyable_v<kurbel::BasicDetector<float>>);
// The state has one size for every engine and wheel; it may shrink, and does not grow unnoticed.
static_assert(sizeof(kurbel::BasicDetector<double>) <= 112 * 1024);
static_assert(sizeof(kurbel::BasicDetector<float>) <= 108 * 1024);

// Edges from waveforms, by the same rules.
template class kurbel::signal::BasicWaveformEdges<double>;
template class kurbel::signal::BasicWaveformEdges<float>;
static_assert(std::is_trivially_copyable_v<kurbel::signal::BasicWaveformEdges<double>>);
static_assert(std::is_trivially_copyable_v<kurbel::signal::BasicWaveformEdges<float>>);
static_assert(sizeof(kurbel::signal::BasicWaveformEdges<double>) <= 67 * 1024);
static_assert(sizeof(kurbel::signal::BasicWaveformEdges<float>) <= 50 * 1024);
