// The bins around one firing that are looked at together, and sums over them.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <tuple>

namespace kurbel {

inline constexpr int kMaxWindow = 36;  ///< bins in the window around one firing

/// Residuals around one firing, in shares of its expected work: seven digits are plenty, whatever the stages compute in. Zeros
/// behind its last bin, so that sums may run over all places: a fixed number of them is summed many at a time.
using Window = std::array<float, kMaxWindow>;

/// Sum of all places, always in the same order.
[[nodiscard]] inline float sum_of(const Window& x) noexcept {
    static_assert(kMaxWindow == 36);
    std::array<float, 12> third;
    for (std::size_t i = 0; i < 12; ++i) third[i] = x[i] + x[i + 12] + x[i + 24];
    std::array<float, 4> lane;
    for (std::size_t i = 0; i < 4; ++i) lane[i] = third[i] + third[i + 4] + third[i + 8];
    return (lane[0] + lane[1]) + (lane[2] + lane[3]);
}

/// Sum of products with the first places of `b`, which has at least as many.
template <class Values>
[[nodiscard]] float dot(const Window& a, const Values& b) noexcept {
    static_assert(std::tuple_size_v<Values> >= kMaxWindow);
    Window product;
    for (std::size_t i = 0; i < kMaxWindow; ++i) product[i] = a[i] * b[i];
    return sum_of(product);
}

/// Ones at the first `length` places and zeros behind: what a value is multiplied by that is to count only there.
[[nodiscard]] inline const float* ones_then_zeros(int length) noexcept {
    static constexpr auto kBoth = [] {
        std::array<float, 2 * kMaxWindow> share{};
        std::fill_n(share.begin(), kMaxWindow, 1.0F);
        return share;
    }();
    return kBoth.data() + (kMaxWindow - length);
}

/// The first `length` places of longer values, which are finite at all places.
template <class Values>
[[nodiscard]] Window head_of(const Values& values, int length) noexcept {
    const float* counts = ones_then_zeros(length);
    Window head;
    for (std::size_t i = 0; i < kMaxWindow; ++i) head[i] = counts[i] * values[i];
    return head;
}

/// Sum over the first `length` places of what `at` gives, finite at all of them.
template <class At>
[[nodiscard]] float sum_of_first(int length, const At& at) noexcept {
    const float* counts = ones_then_zeros(length);
    Window value;
    for (std::size_t i = 0; i < kMaxWindow; ++i) value[i] = counts[i] * at(i);
    return sum_of(value);
}

/// Sum of the squared second differences over the first `length` places of what `at` gives.
template <class At>
[[nodiscard]] float square_bend(int length, const At& at) noexcept {
    const float* counts = ones_then_zeros(std::max(length - 2, 0));
    Window square;
    square[kMaxWindow - 2] = square[kMaxWindow - 1] = 0.0F;
    for (std::size_t i = 0; i + 2 < kMaxWindow; ++i) {
        const float bend = at(i) - 2.0F * at(i + 1) + at(i + 2);
        square[i] = counts[i] * bend * bend;
    }
    return sum_of(square);
}

}  // namespace kurbel
