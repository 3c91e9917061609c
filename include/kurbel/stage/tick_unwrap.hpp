// From raw timer values to ticks that never wrap.
#pragma once

#include <array>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"

namespace kurbel::decoding {

/// Ticks from `earlier` to `later` (later >= earlier); right for any two int64, where a plain difference may overflow.
[[nodiscard]] inline double ticks_between(std::int64_t earlier, std::int64_t later) noexcept {
    const std::uint64_t distance = static_cast<std::uint64_t>(later) - static_cast<std::uint64_t>(earlier);
    // The signed conversion is one instruction; a distance over 2^63 ticks only occurs with hostile input.
    const auto as_signed = static_cast<std::int64_t>(distance);
    return as_signed >= 0 ? static_cast<double>(as_signed) : static_cast<double>(distance);
}

/// Unwraps a counter shared by all signals. The first tick stands as it is; every later one counts from the edge before
/// it, so one step is never longer than the counter's range.
class TickUnwrap {
  public:
    /// `timer` was validated; bits = 0 means that ticks never wrap.
    void configure(const TimerConfig& timer) noexcept {
        bits_ = timer.bits;
        mask_ = bits_ == 0 ? ~std::uint64_t{0} : (std::uint64_t{1} << bits_) - 1;
        // A narrow counter may well run through most of its range between two edges; a wide one cannot, so there a
        // step of more than half the range means that time ran backwards.
        longest_ = bits_ >= 32 ? mask_ >> 1 : mask_;
        reset();
    }

    void reset() noexcept {
        started_ = false;
        backward_ = 0;
        seen_ = {false, false};
    }

    /// Takes one raw tick. False: time ran backwards, or stood still between two edges of one signal; then nothing
    /// changed. True: now() is the unwrapped tick.
    [[nodiscard]] bool push(std::int64_t raw, Signal signal) noexcept {
        const auto which = static_cast<std::size_t>(signal) & 1U;
        std::int64_t tick = raw;
        if (started_) {
            if (bits_ == 0) {
                if (raw < now_) return false;
            } else {
                const std::uint64_t step = (static_cast<std::uint64_t>(raw) - static_cast<std::uint64_t>(raw_)) & mask_;
                if (step > longest_) return false;
                tick = static_cast<std::int64_t>(static_cast<std::uint64_t>(now_) + step);
            }
            // Later than the last edge of all is later than the last one of this signal.
            if (tick == now_ && seen_[which] && tick == last_[which]) return false;
        }
        started_ = true;
        seen_[which] = true;
        last_[which] = tick;
        now_ = tick;
        raw_ = raw;
        return true;
    }

    /// What to do with a tick that push() has just refused. True: as many edges as agree with each other have come from the past, so it
    /// is the tick before them that was wrong (or the clock began anew). Time goes on from this one, which counts as taken.
    [[nodiscard]] bool turn_back(std::int64_t raw, Signal signal) noexcept {
        const std::uint64_t step = (static_cast<std::uint64_t>(raw) - static_cast<std::uint64_t>(refused_)) & mask_;
        // A late edge or two, a clock that really runs backwards or stands still: none of them makes a row that moves on.
        const bool moves_on = bits_ == 0 ? raw > refused_ : step > 0 && step <= longest_;
        // An edge that was taken in between ends the row; that is seen here, so that taking one costs nothing more.
        if (stood_ != now_ || !(moves_on || step == 0)) backward_ = 0;
        if (backward_ == 0 || moves_on) ++backward_;
        stood_ = now_;
        refused_ = raw;
        if (backward_ < kBelieved) return false;
        const std::uint64_t back = (static_cast<std::uint64_t>(raw_) - static_cast<std::uint64_t>(raw)) & mask_;
        now_ = bits_ == 0 ? raw : static_cast<std::int64_t>(static_cast<std::uint64_t>(now_) - back);
        raw_ = raw;
        seen_ = {false, false};
        seen_[static_cast<std::size_t>(signal) & 1U] = true;
        last_[static_cast<std::size_t>(signal) & 1U] = now_;
        backward_ = 0;
        return true;
    }

    /// Whether push() would refuse this tick because time ran backwards.
    [[nodiscard]] bool past(std::int64_t raw) const noexcept {
        if (!started_) return false;
        if (bits_ == 0) return raw < now_;
        return ((static_cast<std::uint64_t>(raw) - static_cast<std::uint64_t>(raw_)) & mask_) > longest_;
    }

    /// Unwrapped tick of the last edge that was taken; 0 before the first.
    [[nodiscard]] std::int64_t now() const noexcept { return now_; }

  private:
    /// Edges in a row: more than a logger delivers late at a time, and about half a revolution of a usual wheel.
    static constexpr std::uint8_t kBelieved = 32;

    std::uint64_t mask_ = ~std::uint64_t{0};
    std::uint64_t longest_ = ~std::uint64_t{0};
    std::int64_t now_ = 0;
    std::int64_t raw_ = 0;
    std::int64_t refused_ = 0;  ///< the last tick that was
    std::int64_t stood_ = 0;    ///< now_ when it was
    std::array<std::int64_t, 2> last_{};
    std::array<bool, 2> seen_{};
    bool started_ = false;
    std::uint8_t backward_ = 0;  ///< refused ticks in a row, each later than the one before
    int bits_ = 0;
};

}  // namespace kurbel::decoding
