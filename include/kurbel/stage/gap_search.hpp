// Finds which tooth of the wheel just passed, from periods alone: a Viterbi search over all teeth at once.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

#include "kurbel/stage/tick_unwrap.hpp"
#include "kurbel/stage/tooth_fit.hpp"

namespace kurbel::decoding {

/// Every tooth of the wheel is a hypothesis "the last edge was this tooth", with the cost of the best story of the
/// edges so far that ends there; stories may contain missed teeth and extra edges. A gap is never recognised by a
/// threshold: it is what makes the stories differ. The search ends when the best story leads by kLead.
class GapSearch {
  public:
    void configure(const WheelTable& wheel) noexcept {
        ripple_.configure(wheel);
        reset();
    }

    void reset() noexcept {
        edges_ = 0;
        intervals_ = 0;
    }

    /// Takes the next crank edge (ticks rise). True: tooth() is the tooth of this edge, less than wheel.period.
    [[nodiscard]] bool push(const WheelTable& wheel, std::int64_t tick) noexcept {
        if (edges_ == 0 || pause(wheel, tick)) return begin(tick);
        const double period = ticks_between(last_tick_, tick);
        last_tick_ = tick;
        if (intervals_ > 0) step(wheel, period);
        last_period_ = period;
        ++intervals_;
        return decide(wheel);
    }

    [[nodiscard]] int tooth() const noexcept { return best_; }
    /// Ticks a degree over the last interval, under the hypothesis tooth().
    [[nodiscard]] double rate(const WheelTable& wheel) const noexcept {
        return last_period_ / static_cast<double>(span(wheel));
    }
    /// Degrees of that interval.
    [[nodiscard]] float span(const WheelTable& wheel) const noexcept {
        return arrival_span(wheel, best_, std::max<int>(1, arrival_[static_cast<std::size_t>(best_)]));
    }
    [[nodiscard]] const Ripple& ripple() const noexcept { return ripple_; }

  private:
    /// One interval cannot cost more than this: whatever happened, the edge may still be a tooth. Less than kLead, so
    /// that a gap is only believed when it was seen from both sides: the first interval after a standstill is long too.
    static constexpr float kMostCost = 4.0F;
    static constexpr float kLead = 5.0F;
    static constexpr float kWorst =
        60.0F;  ///< costs are kept within this of the best, so that old faults are forgotten
    /// A weak tooth that never shows could be the one before the gap or the one after; nothing in the signal tells.
    /// Gaps seen twice without it are settled by convention: the tooth after the gap is the one that vanishes.
    static constexpr float kMissedBeforeGap = 7.0F;
    static constexpr float kMissedAfterGap = 4.0F;
    static constexpr int kMostSkipped = 2;
    static constexpr double kPauseRatio = 6.0;

    [[nodiscard]] bool pause(const WheelTable& wheel, std::int64_t tick) const noexcept {
        if (intervals_ == 0) return false;
        // Even the widest gap cannot make a period this long after one of the narrowest.
        const auto longest = *std::max_element(wheel.span_deg.begin(), wheel.span_deg.begin() + wheel.period);
        const auto shortest = *std::min_element(wheel.span_deg.begin(), wheel.span_deg.begin() + wheel.period);
        return ticks_between(last_tick_, tick) > kPauseRatio * static_cast<double>(longest / shortest) * last_period_;
    }

    [[nodiscard]] bool begin(std::int64_t tick) noexcept {
        cost_.fill(0.0F);
        arrival_.fill(1);
        ripple_.level = 1.0F;
        last_tick_ = tick;
        edges_ = 1;
        intervals_ = 0;
        best_ = 0;
        return false;
    }

    [[nodiscard]] static int back(const WheelTable& wheel, int tooth, int by) noexcept {
        const int earlier = tooth - by;
        return earlier < 0 ? earlier + wheel.period : earlier;
    }

    [[nodiscard]] static float arrival_span(const WheelTable& wheel, int tooth, int jump) noexcept {
        float sum = 0.0F;
        for (int k = 1; k <= jump; ++k) sum += wheel.span(back(wheel, tooth, k));
        return sum;
    }

    [[nodiscard]] static float missed_cost(const WheelTable& wheel, int tooth) noexcept {
        if (!wheel.is_weak(tooth)) return kMissedCost;
        return wheel.span(tooth) > wheel.span(wheel.previous(tooth)) ? kMissedBeforeGap : kMissedAfterGap;
    }

    /// What the search knew before the present edge.
    struct Before {
        std::array<float, kMaxTeeth> cost;
        std::array<std::uint8_t, kMaxTeeth> arrival;
    };

    struct Arrival {
        float cost = 0.0F;
        float x = 0.0F;             ///< log ratio of the speeds before and now, under this story
        float distance_deg = 0.0F;  ///< between the centres of the two intervals; 0 = x says nothing about the ripple
        std::uint8_t jump = 0;
    };

    /// The interval `from` -> `to` of `span_deg` with `period`, given how the story came to `from`.
    [[nodiscard]] Arrival interval(const WheelTable& wheel, const Before& before, int from, int to, float span_deg,
                                   double period) const noexcept {
        const int came_by = before.arrival[static_cast<std::size_t>(from)];
        if (came_by == 0) return {1.0F, 0.0F, 0.0F, 0};  // after an extra edge the period before is unknown
        const float before_deg = arrival_span(wheel, from, came_by);
        const float x =
            log_ratio(period / static_cast<double>(span_deg), last_period_ / static_cast<double>(before_deg));
        float variance = fit_variance(span_deg, before_deg, ripple_.level);
        float distance_deg = 0.5F * (span_deg + before_deg);
        if (wheel.is_weak(from) || wheel.is_weak(to) || wheel.is_weak(back(wheel, from, came_by))) {
            const float wobble = kWeakPitch * wheel.pitch(to) / std::min(span_deg, before_deg);
            variance += wobble * wobble;
            distance_deg = 0.0F;
        }
        return {std::min(kMostCost, 0.5F * x * x / variance), x, distance_deg, 0};
    }

    /// The cheapest story that ends with the present edge being `to`.
    [[nodiscard]] Arrival arrive(const WheelTable& wheel, const Before& before, int to, double period) const noexcept {
        Arrival best{before.cost[static_cast<std::size_t>(to)] + kExtraCost, 0.0F, 0.0F, 0};
        float skipped = 0.0F;
        float span_deg = 0.0F;
        const int most = std::min(kMostSkipped + 1, std::max(1, wheel.period - 1));
        for (int jump = 1; jump <= most; ++jump) {
            const int from = back(wheel, to, jump);
            span_deg += wheel.span(from);
            if (jump > 1) skipped += missed_cost(wheel, back(wheel, to, jump - 1));
            const float so_far = before.cost[static_cast<std::size_t>(from)] + skipped;
            if (so_far >= best.cost) continue;
            Arrival story = interval(wheel, before, from, to, span_deg, period);
            story.cost += so_far;
            story.jump = static_cast<std::uint8_t>(jump);
            if (story.cost < best.cost) best = story;
        }
        return best;
    }

    void step(const WheelTable& wheel, double period) noexcept {
        Before before;
        std::copy_n(cost_.begin(), wheel.period, before.cost.begin());
        std::copy_n(arrival_.begin(), wheel.period, before.arrival.begin());
        Arrival winner{};
        for (int to = 0; to < wheel.period; ++to) {
            const Arrival story = arrive(wheel, before, to, period);
            cost_[static_cast<std::size_t>(to)] = story.cost;
            arrival_[static_cast<std::size_t>(to)] = story.jump;
            if (to == 0 || story.cost < winner.cost) winner = story;
        }
        if (winner.distance_deg > 0.0F)
            ripple_.observe(winner.x, winner.distance_deg);
        else
            ripple_.decay();
        for (int i = 0; i < wheel.period; ++i) {
            float& cost = cost_[static_cast<std::size_t>(i)];
            cost = std::min(cost - winner.cost, kWorst);
        }
    }

    /// Does the best story lead by enough?
    [[nodiscard]] bool decide(const WheelTable& wheel) noexcept {
        // Nothing to tell apart: only wait until the speed is known.
        if (wheel.period == 1) return best_ = 0, intervals_ >= (wheel.teeth > 4 ? 2 : 1);
        float second = kWorst;
        best_ = 0;
        for (int i = 1; i < wheel.period; ++i) {
            const float cost = cost_[static_cast<std::size_t>(i)];
            if (cost < cost_[static_cast<std::size_t>(best_)]) {
                second = cost_[static_cast<std::size_t>(best_)];
                best_ = i;
            } else {
                second = std::min(second, cost);
            }
        }
        // The story must not end in an extra edge: then this edge is no tooth to start from.
        return arrival_[static_cast<std::size_t>(best_)] != 0 &&
               second - cost_[static_cast<std::size_t>(best_)] >= kLead;
    }

    std::array<float, kMaxTeeth> cost_{};
    std::array<std::uint8_t, kMaxTeeth> arrival_{};  ///< teeth advanced by the last interval; 0 = it ended in an extra
    Ripple ripple_{};
    std::int64_t last_tick_ = 0;
    double last_period_ = 0.0;
    std::int32_t edges_ = 0;
    std::int32_t intervals_ = 0;
    std::int32_t best_ = 0;
};

}  // namespace kurbel::decoding
