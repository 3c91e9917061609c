// A detector's state as bytes. The state is one block without pointers, so a snapshot is a copy behind a header that tells
// whether these bytes mean anything to this library on this machine.
#pragma once

#include <cstddef>
#include <cstdint>
#include <cstring>
#include <type_traits>

#include "kurbel/core/fnv.hpp"
#include "kurbel/core/status.hpp"
#include "kurbel/core/version.hpp"
#include "kurbel/detector.hpp"

namespace kurbel {

namespace detail {

struct SnapshotHeader {
    char magic[8];
    std::uint32_t byte_order;      ///< reads differently on a machine of the other byte order
    std::int32_t library_version;  ///< a state means something to its own version alone
    std::uint32_t real_size;       ///< bytes of the number type
    std::uint32_t reserved;
    std::uint64_t state_size;
    std::uint64_t checksum;
};

template <class Real>
[[nodiscard]] SnapshotHeader snapshot_header(const void* state) noexcept {
    SnapshotHeader header{};
    std::memcpy(header.magic, "kurbels1", sizeof header.magic);
    header.byte_order = 0x01020304U;
    header.library_version = KURBEL_VERSION_MAJOR * 10000 + KURBEL_VERSION_MINOR * 100 + KURBEL_VERSION_PATCH;
    header.real_size = sizeof(Real);
    header.state_size = sizeof(BasicDetector<Real>);
    header.checksum = fnv1a(state, sizeof(BasicDetector<Real>));
    return header;
}

}  // namespace detail

/// Bytes of a snapshot of a detector of this number type.
template <class Real>
inline constexpr std::size_t kSnapshotSize = sizeof(detail::SnapshotHeader) + sizeof(BasicDetector<Real>);

/// Writes `detector` to `bytes` (at least kSnapshotSize<Real>, any alignment). Answers ok, bad_argument. Allocates nothing.
template <class Real>
[[nodiscard]] Status write_snapshot(const BasicDetector<Real>& detector, void* bytes, std::size_t size) noexcept {
    static_assert(std::is_trivially_copyable_v<BasicDetector<Real>>);
    if (bytes == nullptr || size < kSnapshotSize<Real>)
        return {StatusCode::bad_argument, "snapshot", "needs more room"};
    const auto header = detail::snapshot_header<Real>(&detector);
    std::memcpy(bytes, &header, sizeof header);
    std::memcpy(static_cast<char*>(bytes) + sizeof header, &detector, sizeof detector);
    return {};
}

/// Replaces `detector`, configuration included, by a snapshot's; it goes on bit for bit. Answers ok; bad_input (with the
/// reason) where the bytes are too few, of another version or machine, or damaged: the detector stays as it was.
/// The checksum guards against accidents, not against forgery: restore only what you wrote yourself.
template <class Real>
[[nodiscard]] Status read_snapshot(const void* bytes, std::size_t size, BasicDetector<Real>& detector) noexcept {
    const auto bad = [](const char* why) { return Status{StatusCode::bad_input, "snapshot", why}; };
    if (bytes == nullptr || size < kSnapshotSize<Real>) return bad("is too short");
    detail::SnapshotHeader found;
    std::memcpy(&found, bytes, sizeof found);
    const char* state = static_cast<const char*>(bytes) + sizeof found;
    const auto right = detail::snapshot_header<Real>(state);
    if (std::memcmp(found.magic, right.magic, sizeof found.magic) != 0) return bad("is none of this library's");
    if (found.byte_order != right.byte_order) return bad("was written on a machine of the other byte order");
    if (found.library_version != right.library_version || found.state_size != right.state_size ||
        found.real_size != right.real_size || found.reserved != right.reserved)
        return bad("was written by another version of the library");
    if (found.checksum != right.checksum) return bad("is damaged: its checksum is wrong");
    std::memcpy(static_cast<void*>(&detector), state, sizeof detector);
    return {};
}

}  // namespace kurbel
