// Tally: what the events of a recording or trip add up to. Per cylinder: firings, judged, misfires, severity; over sliding
// windows of 200 and 1000 crank revolutions: whether misfires exceed their limits; and the trouble codes that follow.
#pragma once

#include <array>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"

namespace kurbel {

/// Counts of one cylinder, or of two that cannot be told apart.
struct TallyRow {
    std::int32_t cylinder = 0;                 ///< 1-based; 0 where only candidates are known, or nothing
    std::array<std::int32_t, 2> candidates{};  ///< possible cylinders where `cylinder` is 0, the smaller first
    std::int64_t firings = 0;
    std::int64_t judged = 0;
    std::int64_t misfires = 0;
    double severity_sum = 0.0;  ///< over the misfires whose severity is known
    std::int64_t severities = 0;
    double healthy_called = 0.0;   ///< expected number of healthy firings among the misfires, by their probability
    double misfires_passed = 0.0;  ///< expected number of misfires among those that were judged to have fired

    /// Mean severity of the misfires; NaN where none has one.
    [[nodiscard]] constexpr double mean_severity() const noexcept {
        return severities > 0 ? severity_sum / static_cast<double>(severities) : kUnknown;
    }
};

/// Trouble codes as numbers, in order: 300 is P0300, 303 is P0303.
struct TroubleCodes {
    std::array<std::int32_t, 13> number{};
    std::int32_t count = 0;
};

/// Adds up events. Plain state without pointers; nothing allocates or throws. One thread at a time.
///
/// Limits: misfires above 5 % of the judged firings within any 200 crank revolutions, or above 1 % within any 1000; a stream
/// that is shorter counts as one window. At least 5 misfires are asked for in any case: a full window of one cylinder alone
/// needs more than that anyhow, one with hardly a judged firing in it should not raise a code by a single one.
/// (Block lengths: after 13 CCR 1968.2 (e)(3.2), value from memory.)
///
/// Codes: P0300 to P0312 (SAE J2012, value from memory). One cylinder with more than 90 % of all misfires: its code; else
/// P0300, then each cylinder with more than 10 % (shares: after 13 CCR 1968.2 (e)(3.1.3)). Misfires without a known cylinder
/// belong to all misfires and to no cylinder; cylinders above 12 have no code of their own.
class Tally {
  public:
    Tally() = default;
    explicit Tally(const EngineConfig& engine) noexcept
        : revolutions_per_cycle_(engine.strokes == 2 ? 1 : 2), firings_per_cycle_(engine.cylinders) {}

    /// Counts one event. Events come in order of time; a cycle number that falls counts as the same cycle.
    void add(const Event& event) noexcept;

    /// All firings together (candidates and cylinder 0).
    [[nodiscard]] const TallyRow& total() const noexcept { return total_; }
    /// Cylinder 1 to 16 where it was known.
    [[nodiscard]] const TallyRow& cylinder(int number) const noexcept {
        return known_[static_cast<std::size_t>(number - 1)];
    }
    /// Firings of which only candidates were known, by the smaller candidate (1 to 16).
    [[nodiscard]] const TallyRow& candidates(int smaller) const noexcept {
        return paired_[static_cast<std::size_t>(smaller - 1)];
    }
    /// Firings of which not even candidates were known.
    [[nodiscard]] const TallyRow& nameless() const noexcept { return nameless_; }
    /// Unjudged firings by reason.
    [[nodiscard]] std::int64_t unjudged(Reason reason) const noexcept {
        return unjudged_[static_cast<std::size_t>(reason) % unjudged_.size()];
    }

    /// Whether a window of 200 (1000) revolutions has exceeded its limit so far.
    [[nodiscard]] bool exceeded_200() const noexcept { return exceeds(short_window_); }
    [[nodiscard]] bool exceeded_1000() const noexcept { return exceeds(long_window_); }

    /// The codes that the misfires so far call for; none where no limit was exceeded.
    [[nodiscard]] TroubleCodes codes() const noexcept;

  private:
    static constexpr int kLeastMisfires = 5;
    static constexpr int kRingCycles = 1000;  // 1000 revolutions of a two-stroke; 500 cycles of a four-stroke fit too

    struct Cycle {
        std::uint8_t judged = 0;
        std::uint8_t misfires = 0;
    };
    /// Sums over the last `revolutions` / revolutions_per_cycle cycles.
    struct Window {
        std::int32_t revolutions = 0;
        std::int32_t percent = 0;  ///< limit
        std::int32_t judged = 0;
        std::int32_t misfires = 0;
        bool exceeded = false;
    };

    TallyRow& row_of(const Event& event) noexcept;
    void advance_to(std::int64_t cycle) noexcept;
    void slide(Window& window) noexcept;
    void count_in_windows(const Event& event) noexcept;
    void compare(Window& window) noexcept;
    [[nodiscard]] std::int64_t length(const Window& window) const noexcept {
        return window.revolutions / revolutions_per_cycle_;
    }
    [[nodiscard]] static bool above(std::int64_t misfires, std::int64_t judged, int percent) noexcept {
        return misfires >= kLeastMisfires && misfires * 100 > judged * percent;
    }
    [[nodiscard]] bool exceeds(const Window& window) const noexcept {
        return window.exceeded || (cycles_ < length(window) && above(total_.misfires, total_.judged, window.percent));
    }
    [[nodiscard]] Cycle& ring(std::int64_t cycle) noexcept {
        return ring_[static_cast<std::size_t>(cycle % kRingCycles)];
    }

    std::array<TallyRow, kMaxCylinders> known_{};
    std::array<TallyRow, kMaxCylinders> paired_{};
    TallyRow nameless_{};
    TallyRow total_{};
    std::array<std::int64_t, 9> unjudged_{};
    std::array<Cycle, kRingCycles> ring_{};
    Window short_window_{200, 5};
    Window long_window_{1000, 1};
    std::int64_t cycles_ = 0;      ///< cycles counted, the present one among them
    std::int64_t last_cycle_ = 0;  ///< number of the present cycle as the events tell it
    std::int32_t revolutions_per_cycle_ = 2;
    std::int32_t firings_per_cycle_ = 0;
    std::int32_t firings_in_cycle_ = 0;
};

// ---------------------------------------------------------------------------------------------------------------

namespace detail {

inline void count_event(TallyRow& row, const Event& event) noexcept {
    ++row.firings;
    if (event.verdict == Verdict::unjudged) return;
    ++row.judged;
    const bool misfire = event.verdict == Verdict::misfire;
    if (event.probability == event.probability)
        (misfire ? row.healthy_called : row.misfires_passed) += misfire ? 1.0 - event.probability : event.probability;
    if (!misfire) return;
    ++row.misfires;
    if (event.severity != event.severity) return;
    row.severity_sum += event.severity;
    ++row.severities;
}

}  // namespace detail

inline TallyRow& Tally::row_of(const Event& event) noexcept {
    if (event.cylinder >= 1 && event.cylinder <= kMaxCylinders) {
        TallyRow& row = known_[static_cast<std::size_t>(event.cylinder - 1)];
        row.cylinder = event.cylinder;
        return row;
    }
    std::int32_t low = event.candidates[0];
    std::int32_t high = event.candidates[1];
    if (high > 0 && high < low) {
        low = event.candidates[1];
        high = event.candidates[0];
    }
    if (low < 1 || low > kMaxCylinders) return nameless_;
    TallyRow& row = paired_[static_cast<std::size_t>(low - 1)];
    row.candidates = {low, high};
    return row;
}

/// To be called where a cycle is complete: one that still lacks firings would make the share look larger than it is.
inline void Tally::compare(Window& window) noexcept {
    if (cycles_ >= length(window) && above(window.misfires, window.judged, window.percent)) window.exceeded = true;
}

/// Takes the cycle that falls out of the window out of its sums. Called after cycles_ was raised.
inline void Tally::slide(Window& window) noexcept {
    const std::int64_t out = cycles_ - 1 - length(window);
    if (out < 0) return;
    window.judged -= ring(out).judged;
    window.misfires -= ring(out).misfires;
}

inline void Tally::advance_to(std::int64_t cycle) noexcept {
    std::int64_t steps = cycles_ == 0 ? 1 : cycle - last_cycle_;
    if (steps <= 0) return;
    last_cycle_ = cycle;
    // After a long silence every window is empty: more than a whole ring of steps changes nothing any more.
    if (steps > 2 * kRingCycles) steps = 2 * kRingCycles;
    firings_in_cycle_ = 0;
    for (; steps > 0; --steps) {
        compare(short_window_);
        compare(long_window_);
        ++cycles_;
        slide(short_window_);
        slide(long_window_);
        ring(cycles_ - 1) = Cycle{};
    }
}

inline void Tally::count_in_windows(const Event& event) noexcept {
    Cycle& cycle = ring(cycles_ - 1);
    if (cycle.judged == UINT8_MAX) return;  // events that never advance a cycle: no window can be told
    const std::uint8_t misfire = event.verdict == Verdict::misfire ? 1 : 0;
    ++cycle.judged;
    cycle.misfires = static_cast<std::uint8_t>(cycle.misfires + misfire);
    for (Window* window : {&short_window_, &long_window_}) {
        ++window->judged;
        window->misfires += misfire;
    }
}

inline void Tally::add(const Event& event) noexcept {
    advance_to(event.cycle);
    detail::count_event(total_, event);
    detail::count_event(row_of(event), event);
    if (event.verdict == Verdict::unjudged)
        ++unjudged_[static_cast<std::size_t>(event.reason) % unjudged_.size()];
    else
        count_in_windows(event);
    if (++firings_in_cycle_ != firings_per_cycle_) return;
    compare(short_window_);
    compare(long_window_);
}

inline TroubleCodes Tally::codes() const noexcept {
    constexpr int kCodedCylinders = 12;
    constexpr int kAnyCylinder = 300;
    TroubleCodes codes;
    if (!exceeded_200() && !exceeded_1000()) return codes;
    const auto has_more_than = [&](int number, int percent) {
        return cylinder(number).misfires * 100 > total_.misfires * percent;
    };
    for (int number = 1; number <= kCodedCylinders; ++number) {
        if (!has_more_than(number, 90)) continue;
        codes.number[0] = kAnyCylinder + number;
        codes.count = 1;
        return codes;
    }
    codes.number[static_cast<std::size_t>(codes.count++)] = kAnyCylinder;
    for (int number = 1; number <= kCodedCylinders; ++number)
        if (has_more_than(number, 10)) codes.number[static_cast<std::size_t>(codes.count++)] = kAnyCylinder + number;
    return codes;
}

}  // namespace kurbel
