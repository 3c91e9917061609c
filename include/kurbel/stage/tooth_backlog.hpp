// The last edges whose teeth are not known yet, kept until they can be placed backwards by counting.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

#include "kurbel/stage/tooth_fit.hpp"

namespace kurbel::decoding {

/// Ticks of the newest crank edges, oldest first. While the wheel's position is sought they wait; once the newest is known to be a
/// certain tooth, those before it are the teeth before it, as far back as every interval is one that the wheel has there.
class ToothBacklog {
  public:
    /// A revolution of the finest wheel, and the edges by which its gap is recognised. A small target, which has told its wheel's room,
    /// keeps as many as 64 KiB for the whole detector allow: about half a revolution, so half of what is lost at a start is gained.
    static constexpr int kRoom = kMaxTeeth >= 128 ? kMaxTeeth + 4 : 2 * kMaxTeeth / 5 + 1;

    void clear() noexcept { count_ = 0; }
    [[nodiscard]] int count() const noexcept { return count_; }
    [[nodiscard]] bool empty() const noexcept { return count_ == 0; }

    /// Where there is no room left, the oldest goes.
    void push(std::int64_t tick) noexcept {
        tick_[at(count_)] = tick;
        if (count_ < kRoom)
            ++count_;
        else
            first_ = first_ + 1 == kRoom ? 0 : first_ + 1;
    }

    /// 0 is the oldest.
    [[nodiscard]] std::int64_t operator[](int i) const noexcept { return tick_[at(i)]; }

    void keep_newest(int count) noexcept {
        first_ = static_cast<std::int32_t>(at(count_ - count));
        count_ = count;
    }

    /// How many of the newest edges are consecutive teeth beyond doubt, if the last one is `tooth`: one or more. Each is judged by the
    /// speed before it. A missed or an extra edge makes at least one interval far too long or too short, and there the count ends: of an
    /// interval that is wrong, neither end need be a tooth.
    [[nodiscard]] int consecutive(const WheelTable& wheel, int tooth, float uneven_deg) const noexcept {
        const int most = std::min(count_, kMostRevolutions * wheel.teeth + 1);
        int first = count_ - most;
        Trace trace = begin_at(wheel, tooth, first);
        for (int i = first + 1; i < count_; ++i) {
            trace.cost = 0.0F;
            trace = extend(wheel, trace, (*this)[i], 1, {kWild, uneven_deg}, nullptr);
            if (trace.cost <= kMostCost) continue;
            first = std::min(i + 1, count_ - 1);
            trace = begin_at(wheel, tooth, first);
            i = first;
        }
        return count_ - first;
    }

  private:
    /// From the first edge to the second gap, and some; an engine that was sought for longer has not been followed.
    static constexpr int kMostRevolutions = 3;
    /// The speed may swing as much as it can while an engine is cranked.
    static constexpr float kWild = 1.0F;
    /// Below the cost of any fault, so that the count without one is the better story.
    static constexpr float kMostCost = 4.0F;
    static_assert(kMostCost < kMissedCost && kMostCost < kExtraCost);

    [[nodiscard]] std::size_t at(int i) const noexcept {
        const int place = first_ + i;
        return static_cast<std::size_t>(place < kRoom ? place : place - kRoom);
    }

    /// A story that begins with edge `i`, where the last edge is `tooth`.
    [[nodiscard]] Trace begin_at(const WheelTable& wheel, int tooth, int i) const noexcept {
        const int back = (count_ - 1 - i) % wheel.teeth;
        Trace trace;
        trace.tooth = tooth >= back ? tooth - back : tooth - back + wheel.teeth;
        trace.anchor_tick = (*this)[i];
        return trace;
    }

    std::array<std::int64_t, kRoom> tick_{};
    std::int32_t first_ = 0;
    std::int32_t count_ = 0;
};

}  // namespace kurbel::decoding
