// A short name for many bytes: tells by accident apart, not by intent.
#pragma once

#include <cstddef>
#include <cstdint>

namespace kurbel {

/// FNV-1a, 64 bits (Fowler, Noll, Vo, public domain; both constants from memory, tested against the authors' vectors). `before`: that
/// of the bytes that stand before these.
[[nodiscard]] inline std::uint64_t fnv1a(const void* bytes, std::size_t size,
                                         std::uint64_t before = 0xcbf29ce484222325ULL) noexcept {
    const auto* byte = static_cast<const unsigned char*>(bytes);
    for (std::size_t i = 0; i < size; ++i) before = (before ^ byte[i]) * 0x100000001b3ULL;
    return before;
}

}  // namespace kurbel
