// Looks back over each gap that was passed: would the same edges fit better if the wheel stood a few teeth further?
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

#include "kurbel/stage/tooth_fit.hpp"

namespace kurbel::decoding {

/// A wrong index explains a gap by missed and extra edges or displaced teeth, every time. Where a passage was costly,
/// the edges are taken once more for consecutive teeth from a few places further or back; if that fits clearly better,
/// the index has slipped. If the edges were as even as if there were no gap, or edges were both missed and extra,
/// twice in a row, the wheel stands elsewhere.
///
/// Habits are learned under the index that is believed, so a wrong one from the start would soon look usual. Therefore
/// the passages are also judged by the wheel alone; there one swing of the speed may mislead, so three passages must
/// agree.
class GapCheck {
  public:
    static constexpr int kLost = 1000;  ///< instead of a slip: the index is wrong, by an unknown amount

    void reset() noexcept {
        count_ = 0;
        strikes_ = 0;
        bare_slip_ = 0;
        bare_strikes_ = 0;
        passages_ = 0;
        bare_every_ = kBareEvery;
        proving_ = 0;
        moved_ = 0;
        moved_before_ = 0;
        watching_ = false;
    }

    /// A tooth was missed or an edge added, which moved the index by `teeth` against the count of edges: it has to prove itself anew,
    /// and what would undo that move is believed at once.
    void doubt(int teeth) noexcept {
        proving_ = kBareAtFirst;
        moved_ += teeth;
    }

    /// True at teeth where note() must be called.
    [[nodiscard]] bool wants(const WheelTable& wheel, int tooth) const noexcept {
        return watching_ || wheel.near_gap[static_cast<std::size_t>(tooth)] != 0;
    }

    /// One edge was settled at `tick`, `jump` teeth after the tooth before (0 = extra), for `cost`; `root` is the last
    /// settled tooth, this edge where it was one. Returns by how many teeth the index must be moved: 0 unless a passage
    /// has just ended that says so; then `root` has moved, and `habit` is forgotten where it was learned wrongly.
    [[nodiscard]] int note(const WheelTable& wheel, Trace& root, std::int64_t tick, int jump, float cost,
                           const Spread& spread, ToothHabit& habit) noexcept {
        const bool near = wheel.near_gap[static_cast<std::size_t>(root.tooth)] != 0;
        int slip = 0;
        if (watching_) {
            ticks_[static_cast<std::size_t>(count_)] = tick;
            jumps_[static_cast<std::size_t>(count_++)] = static_cast<std::uint8_t>(jump);
            cost_ += cost;
            if (count_ < kMostEdges && (near || jump == 0)) return 0;
            slip = jump > 0 ? judge(wheel, root, spread, habit) : 0;
            watching_ = false;
        }
        // A passage that begins behind the gap says nothing of it: a tooth missed there would look like the only gap.
        if (wheel.gap_ahead(root.tooth) && jump > 0 && root.firm()) {
            start_ = root;
            start_.cost = 0.0F;
            cost_ = 0.0F;
            count_ = 0;
            moved_before_ = moved_;
            watching_ = true;
        }
        return slip;
    }

  private:
    static constexpr int kMostEdges = 16;
    static constexpr int kMostSlip = 3;
    static constexpr int kStrikes = 2;
    static constexpr int kBareStrikes = 3;
    /// Passages judged by the wheel alone: the first ones, later one in so many, more seldom as long as none is odd.
    static constexpr int kBareAtFirst = 12;
    static constexpr int kBareEvery = 8;
    static constexpr int kBareSeldom = 64;
    static constexpr float kSuspicious = 4.0F;
    static constexpr float kLead = 2.0F;  ///< by which another explanation must fit better

    [[nodiscard]] int judge(const WheelTable& wheel, Trace& root, const Spread& spread, ToothHabit& habit) noexcept {
        passages_ = passages_ < kBareAtFirst + bare_every_ ? passages_ + 1 : kBareAtFirst + 1;
        if (passages_ <= kBareAtFirst || passages_ >= kBareAtFirst + bare_every_ || proving_ > 0) {
            const bool seldom = passages_ > kBareAtFirst && proving_ == 0;
            if (proving_ > 0) --proving_;
            const int bare = judge_bare(wheel, root, spread, habit);
            if (bare != 0) return bare;
            if (bare_slip_ != 0)
                bare_every_ = kBareEvery;
            else if (seldom)
                bare_every_ = std::min(2 * bare_every_, kBareSeldom);
        }
        if (cost_ <= kSuspicious) return strikes_ = 0;
        Trace moved = root;
        int slip = look_back(wheel, moved, cost_, spread, &habit);
        // What is usual was learned under the index that is now in doubt.
        if (moved_before_ != 0 && !undoes(slip) && slip != bare_slip_) slip = 0;
        if (slip != 0) root = moved;
        if (slip != 0 || !(even(wheel, cost_, spread) || both_faults())) {
            strikes_ = 0;
            if (slip != 0) passages_ = 0;
            return slip;
        }
        // Right after the start there is nothing yet that the index has proved itself by.
        return ++strikes_ < (passages_ > kStrikes ? kStrikes : 1) ? 0 : kLost;
    }

    /// Were edges both missed and extra?
    [[nodiscard]] bool both_faults() const noexcept {
        const auto end = jumps_.begin() + count_;
        return std::find(jumps_.begin(), end, std::uint8_t{0}) != end &&
               std::any_of(jumps_.begin(), end, [](std::uint8_t jump) { return jump > 1; });
    }

    /// Would this put back what faults have moved the index by, those of this passage included or not?
    [[nodiscard]] bool undoes(int slip) const noexcept {
        return moved_before_ != 0 && (slip == -moved_before_ || slip == -moved_);
    }

    /// The same without habits, over several passages.
    [[nodiscard]] int judge_bare(const WheelTable& wheel, Trace& root, const Spread& spread,
                                 ToothHabit& habit) noexcept {
        Trace trace = start_;
        float extra = 0.0F;
        for (int i = 0; i < count_; ++i) {
            const int jump = jumps_[static_cast<std::size_t>(i)];
            if (jump == 0)
                extra += kExtraCost;
            else
                trace = extend(wheel, trace, ticks_[static_cast<std::size_t>(i)], jump, spread, nullptr);
        }
        Trace moved = root;
        const float cost = trace.cost + extra;
        int slip = 0;
        if (cost > kSuspicious) {
            slip = look_back(wheel, moved, cost, spread, nullptr);
            if (even(wheel, cost, spread)) slip = kLost;
        }
        bare_strikes_ = slip != 0 && slip == bare_slip_ ? bare_strikes_ + 1 : 1;
        bare_slip_ = slip;
        if (cost <= kSuspicious) moved_ -= moved_before_;
        if (slip == 0 || (bare_strikes_ < kBareStrikes && !undoes(slip))) return 0;
        bare_strikes_ = 0;
        moved_ = 0;
        root = moved;
        habit.reset(wheel);
        return slip;
    }

    /// Tries the places around; moves `root` and returns the slip where one fits better than `cost`.
    [[nodiscard]] int look_back(const WheelTable& wheel, Trace& root, float cost, const Spread& spread,
                                const ToothHabit* habit) const noexcept {
        const int stands = root.tooth;
        Trace best = root;
        best.cost = cost - kLead;
        const int most = std::min(kMostSlip, wheel.period - 1);
        for (int slip = -most; slip <= most; ++slip) {
            Trace trace = start_;
            trace.tooth = (trace.tooth + slip + wheel.teeth) % wheel.teeth;
            if (wheel.is_weak(trace.tooth)) continue;
            for (int i = 0; i < count_ && trace.cost < best.cost; ++i)
                trace = extend(wheel, trace, ticks_[static_cast<std::size_t>(i)], 1, spread, habit);
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

    /// Do the edges look as if no gap were there at all, more than by a story of cost `than`?
    [[nodiscard]] bool even(const WheelTable& wheel, float than, const Spread& spread) const noexcept {
        const float pitch_deg = wheel.pitch(start_.tooth);
        const float variance = fit_variance(pitch_deg, pitch_deg, spread);
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
        return cost + kLead < than;
    }

    Trace start_{};
    std::array<std::int64_t, kMostEdges> ticks_{};
    std::array<std::uint8_t, kMostEdges> jumps_{};
    float cost_ = 0.0F;
    std::int32_t count_ = 0;
    std::int32_t strikes_ = 0;
    std::int32_t bare_slip_ = 0;
    std::int32_t bare_strikes_ = 0;
    std::int32_t passages_ = 0;
    std::int32_t bare_every_ = kBareEvery;
    std::int32_t proving_ = 0;       ///< passages that are still to be judged bare after a fault
    std::int32_t moved_ = 0;         ///< teeth by which faults have moved the index since it proved itself
    std::int32_t moved_before_ = 0;  ///< ... before this passage: a fault within it has been judged with it
    bool watching_ = false;
};

}  // namespace kurbel::decoding
