// Looks back over each gap that was passed: would the same edges fit better if the wheel stood a few teeth further?
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

#include "kurbel/stage/tooth_fit.hpp"

namespace kurbel::decoding {

/// Goes from `trace` over `jump` teeth to an edge at `tick`, adding the cost of the fit and of the teeth skipped.
[[nodiscard]] inline Trace extend(const WheelTable& wheel, const Trace& trace, std::int64_t tick, int jump,
                                  float ripple_level) noexcept {
    Trace next = trace;
    pass(wheel, next);
    for (int k = 1; k < jump; ++k) {
        next.cost += missed_cost(wheel, next.tooth);
        pass(wheel, next);
    }
    const Fit fit = land(wheel, next, tick, ripple_level);
    next.cost += fit.firm_cost + fit.weak_cost;
    return next;
}

/// A wrong index explains a gap by missed and extra edges or displaced teeth, every time. Where a passage was costly, the
/// edges are taken once more for consecutive teeth from a few places further or back; if that fits clearly better, the
/// index has slipped. If the edges were as even as if there were no gap, twice in a row, the wheel stands elsewhere.
class GapCheck {
  public:
    static constexpr int kLost = 1000;  ///< instead of a slip: the index is wrong, by an unknown amount

    void reset() noexcept {
        count_ = 0;
        strikes_ = 0;
        watching_ = false;
    }

    /// True at teeth where note() must be called.
    [[nodiscard]] bool wants(const WheelTable& wheel, int tooth) const noexcept {
        return watching_ || wheel.near_gap[static_cast<std::size_t>(tooth)] != 0;
    }

    /// One edge was settled at `tick`, for `cost`; `root` is the last settled tooth, this edge where it was one. Returns
    /// by how many teeth the index must be moved: 0 unless a passage has just ended that says so; then `root` has moved.
    [[nodiscard]] int note(const WheelTable& wheel, Trace& root, std::int64_t tick, float cost, bool was_tooth,
                           float ripple_level) noexcept {
        const bool near = wheel.near_gap[static_cast<std::size_t>(root.tooth)] != 0;
        int slip = 0;
        if (watching_) {
            ticks_[static_cast<std::size_t>(count_++)] = tick;
            cost_ += cost;
            if (count_ < kMostEdges && (near || !was_tooth)) return 0;
            slip = was_tooth ? judge(wheel, root, ripple_level) : 0;
            watching_ = false;
        }
        if (near && was_tooth && root.firm()) {
            start_ = root;
            start_.cost = 0.0F;
            cost_ = 0.0F;
            count_ = 0;
            watching_ = true;
        }
        return slip;
    }

  private:
    static constexpr int kMostEdges = 16;
    static constexpr int kMostSlip = 3;
    static constexpr int kStrikes = 2;
    static constexpr float kSuspicious = 4.0F;
    static constexpr float kLead = 2.0F;  ///< by which another explanation must fit better

    [[nodiscard]] int judge(const WheelTable& wheel, Trace& root, float ripple_level) noexcept {
        if (cost_ <= kSuspicious) return strikes_ = 0;
        const int slip = look_back(wheel, root, ripple_level);
        if (slip != 0 || !even(wheel, ripple_level)) {
            strikes_ = 0;
            return slip;
        }
        return ++strikes_ < kStrikes ? 0 : kLost;
    }

    [[nodiscard]] int look_back(const WheelTable& wheel, Trace& root, float ripple_level) const noexcept {
        const int stands = root.tooth;
        Trace best = root;
        best.cost = cost_ - kLead;
        const int most = std::min(kMostSlip, wheel.period - 1);
        for (int slip = -most; slip <= most; ++slip) {
            Trace trace = start_;
            trace.tooth = (trace.tooth + slip + wheel.teeth) % wheel.teeth;
            if (wheel.is_weak(trace.tooth)) continue;
            for (int i = 0; i < count_ && trace.cost < best.cost; ++i)
                trace = extend(wheel, trace, ticks_[static_cast<std::size_t>(i)], 1, ripple_level);
            if (trace.cost < best.cost) best = trace;
        }
        // Against where the count stands now: edges taken for extra and teeth for missed have changed it too.
        const int slip = best.tooth - stands;
        if (slip == 0) return 0;
        root = best;
        root.cost = 0.0F;
        const int half = wheel.teeth / 2;
        return slip > half ? slip - wheel.teeth : slip < -half ? slip + wheel.teeth : slip;
    }

    /// Do the edges look as if no gap were there at all?
    [[nodiscard]] bool even(const WheelTable& wheel, float ripple_level) const noexcept {
        const float pitch_deg = wheel.pitch(start_.tooth);
        const float variance = fit_variance(pitch_deg, pitch_deg, ripple_level);
        float cost = 0.0F;
        std::int64_t last = start_.anchor_tick;
        double rate = start_.rate;
        for (int i = 0; i < count_; ++i) {
            const std::int64_t tick = ticks_[static_cast<std::size_t>(i)];
            const double now = ticks_between(last, tick) / static_cast<double>(pitch_deg);
            const float x = log_ratio(now, rate);
            cost += 0.5F * x * x / variance;
            rate = now;
            last = tick;
        }
        return cost + kLead < cost_;
    }

    Trace start_{};
    std::array<std::int64_t, kMostEdges> ticks_{};
    float cost_ = 0.0F;
    std::int32_t count_ = 0;
    std::int32_t strikes_ = 0;
    bool watching_ = false;
};

}  // namespace kurbel::decoding
