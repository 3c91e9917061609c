// Between the C structs and the C++ ones. Inside the library only.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>

#include "kurbel/core/config.hpp"
#include "kurbel/kurbel.h"

namespace kurbel::c_api {

// The sizes of the first version: a caller's struct may be larger or smaller than ours today, but never smaller than these.
inline constexpr std::size_t kFirstConfigSize = 3888;
inline constexpr std::size_t kFirstEventSize = 144;
inline constexpr std::size_t kFirstSyncSize = 72;

/// Copies what both sides know; the caller's struct_size survives.
template <class Struct>
void write_out(const Struct& ours, Struct* theirs) noexcept {
    const std::uint32_t size = theirs->struct_size;
    std::memcpy(theirs, &ours, std::min<std::size_t>(size, sizeof(Struct)));
    theirs->struct_size = size;
}

[[nodiscard]] constexpr std::int32_t code(const Status& status) noexcept {
    return static_cast<std::int32_t>(status.code);
}

/// Writes "parameter: why" (or the code's sentence) into a caller's buffer, cut to fit, always terminated.
void write_text(const Status& status, char* text, std::size_t text_size) noexcept;
void write_text(const char* message, char* text, std::size_t text_size) noexcept;

/// The caller's configuration as ours; answers what is wrong with the numbers that our types cannot hold.
[[nodiscard]] Status to_cpp(const kurbel_config* theirs, Config& ours) noexcept;

/// Ours as a full C struct (struct_size is this library's).
[[nodiscard]] kurbel_config to_c(const Config& ours) noexcept;
[[nodiscard]] kurbel_event to_c(const Event& ours) noexcept;
[[nodiscard]] kurbel_sync to_c(const SyncState& ours) noexcept;

}  // namespace kurbel::c_api
