// A story of the gap search in half the memory: there is one for every tooth of the wheel.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>

#include "kurbel/stage/tooth_fit.hpp"

namespace kurbel::decoding {

/// A Trace without its tooth, relative to a tick that is kept once for all. Single precision is ample for a search:
/// ratios of periods are judged to a few per cent.
class PackedTrace {
  public:
    PackedTrace() = default;

    PackedTrace(const Trace& trace, std::int64_t base_tick, bool keep_swing) noexcept
        : age_(static_cast<float>(ticks_between(trace.anchor_tick, base_tick))),
          rate_(static_cast<float>(trace.rate)),
          anchor_span_(trace.anchor_span),
          rate_span_(trace.rate_span),
          cost_(trace.cost) {
        for (std::size_t i = 0; i < trace.weak_count; ++i) {
            place_[i] = static_cast<std::uint16_t>(std::min(trace.weak_place[i], kMostPlace) * kPlaceUnit + 0.5F);
            charged_[i] = static_cast<std::uint8_t>(trace.weak_cost[i] * kChargeUnit + 0.5F);
            seen_[i] = trace.weak_seen[i];
        }
        // Wheels whose swing matters have no weak teeth.
        if (keep_swing) seen_[0] = trace.swing;
        const unsigned counts = unsigned{trace.weak_count} | (unsigned{trace.periods} << 2U);
        flags_ = static_cast<std::uint8_t>(counts | (trace.faultless ? kFaultless : 0U) | (trace.loose ? kLoose : 0U) |
                                           (trace.faint ? kFaint : 0U));
        gaps_ = trace.gaps;
    }

    [[nodiscard]] Trace unpack(int tooth, std::int64_t base_tick, bool keep_swing) const noexcept {
        Trace trace;
        // Hostile ticks may lie 2^64 apart; wrapping is defined for unsigned numbers only.
        const auto age = static_cast<std::uint64_t>(std::min(age_, kMostAge));
        trace.anchor_tick = static_cast<std::int64_t>(static_cast<std::uint64_t>(base_tick) - age);
        trace.rate = static_cast<double>(rate_);
        trace.anchor_span = anchor_span_;
        trace.rate_span = rate_span_;
        trace.cost = cost_;
        trace.tooth = tooth;
        trace.weak_count = flags_ & 3U;
        for (std::size_t i = 0; i < trace.weak_count; ++i) {
            trace.weak_place[i] = static_cast<float>(place_[i]) / kPlaceUnit;
            trace.weak_usual[i] = trace.weak_place[i];
            trace.weak_cost[i] = static_cast<float>(charged_[i]) / kChargeUnit;
            trace.weak_seen[i] = seen_[i];
        }
        if (keep_swing) trace.swing = seen_[0];
        trace.periods = (flags_ >> 2U) & 3U;
        trace.faultless = (flags_ & kFaultless) != 0;
        trace.loose = (flags_ & kLoose) != 0;
        trace.faint = (flags_ & kFaint) != 0;
        trace.gaps = gaps_;
        return trace;
    }

    [[nodiscard]] float cost() const noexcept { return cost_; }
    void set_cost(float cost) noexcept { cost_ = cost; }
    [[nodiscard]] bool faultless() const noexcept { return (flags_ & kFaultless) != 0; }
    [[nodiscard]] float swing() const noexcept { return seen_[0]; }

  private:
    static constexpr unsigned kFaultless = 16U;
    static constexpr unsigned kLoose = 32U;
    static constexpr unsigned kFaint = 64U;
    static constexpr float kMostAge = 1.0e19F;  // below 2^64
    static constexpr float kPlaceUnit = 512.0F;
    static constexpr float kMostPlace = 127.0F;
    static constexpr float kChargeUnit = 16.0F;  // up to kMostWeakCost
    static_assert(kMostWeakCost * kChargeUnit < 255.0F && Trace::kMostWeak <= 3 && Trace::kSteady <= 3);

    float age_ = 0.0F;  ///< ticks from the anchor to the base
    float rate_ = 0.0F;
    float anchor_span_ = 0.0F;
    float rate_span_ = 0.0F;
    float cost_ = 0.0F;
    std::array<float, Trace::kMostWeak> seen_{};
    std::array<std::uint16_t, Trace::kMostWeak> place_{};
    std::array<std::uint8_t, Trace::kMostWeak> charged_{};
    std::uint8_t flags_ = 0;
    std::uint8_t gaps_ = 0;
};

}  // namespace kurbel::decoding
