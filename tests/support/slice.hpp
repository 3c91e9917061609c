// How much of a long loop a test walks through: all of it, or a slice where a sanitizer makes each step several times as slow.
#pragma once

namespace kurbel::test {

/// The step of loops whose every round takes the same path with another place, number or engine. A sanitizer looks at the
/// paths; that every round keeps its promise is what the optimised builds see.
#if defined(__SANITIZE_ADDRESS__)
inline constexpr int kStride = 7;
#else
inline constexpr int kStride = 1;
#endif

}  // namespace kurbel::test
