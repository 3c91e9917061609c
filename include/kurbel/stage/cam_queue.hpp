// Cam edges that wait for the next tooth, which tells their place.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

#include "kurbel/core/config.hpp"

namespace kurbel::decoding {

/// Ticks of the cam edges since the last settled tooth, oldest first. More than a cycle has of them in one gap are noise.
class CamQueue {
  public:
    void clear() noexcept { count_ = 0; }
    [[nodiscard]] bool empty() const noexcept { return count_ == 0; }
    /// Tick of the oldest; there is one.
    [[nodiscard]] std::int64_t front() const noexcept { return tick_[0]; }
    [[nodiscard]] int count() const noexcept { return count_; }
    [[nodiscard]] std::int64_t operator[](int i) const noexcept { return tick_[static_cast<std::size_t>(i)]; }

    /// Where there is no room left, the oldest goes if `newest_count`, else this one is not taken.
    void push(std::int64_t tick, bool newest_count) noexcept {
        if (count_ == kRoom) {
            if (!newest_count) return;
            drop(1);
        }
        tick_[static_cast<std::size_t>(count_++)] = tick;
    }

    /// The oldest `count` have been placed.
    void drop(int count) noexcept {
        std::copy(tick_.begin() + count, tick_.begin() + count_, tick_.begin());
        count_ -= count;
    }

    /// Those up to `tick` have no place.
    void forget_until(std::int64_t tick) noexcept {
        const auto end = tick_.begin() + count_;
        const auto first = std::find_if(tick_.begin(), end, [tick](std::int64_t cam) { return cam > tick; });
        drop(static_cast<int>(first - tick_.begin()));
    }

  private:
    static constexpr int kRoom = kMaxCamEdges;
    std::array<std::int64_t, kRoom> tick_{};
    std::int32_t count_ = 0;
};

}  // namespace kurbel::decoding
