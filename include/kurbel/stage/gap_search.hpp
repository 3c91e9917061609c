// Finds which tooth of the wheel just passed, from periods alone: a Viterbi search over all teeth at once.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

#include "kurbel/stage/packed_trace.hpp"
#include "kurbel/stage/slow_turning.hpp"
#include "kurbel/stage/tooth_fit.hpp"
#include "kurbel/stage/uneven_teeth.hpp"

namespace kurbel::decoding {

/// Every tooth of the wheel is a hypothesis "the last edge was this tooth", with the cost of the best story of the
/// edges so far that ends there; stories may contain missed teeth and extra edges. A gap is never recognised by a
/// threshold: it is what makes the stories differ. The search ends when the best story leads by kLead.
class GapSearch {
  public:
    void configure(const WheelTable& wheel) noexcept {
        ripple_.configure(wheel);
        uneven_.configure(wheel);
        slow_.configure(wheel);
        reset();
    }

    /// Forgets the edges. How even the wheel is stays known.
    void reset() noexcept { edges_ = 0; }

    /// Takes the next crank edge (ticks rise). True: trace() stands at the tooth of this edge.
    [[nodiscard]] bool push(const WheelTable& wheel, std::int64_t tick) noexcept {
        if (edges_ == 0 || pause(wheel, tick)) {
            begin(wheel, tick);
            return false;
        }
        const double period = ticks_between(last_tick_, tick);
        if (edges_ > 1) {
            slow_.observe(period, last_period_);
            const float ratio = log_ratio(period, last_period_);
            if (edges_ > 2) {
                uneven_.observe(ratio, last_ratio_);
                ripple_.expect_uneven(uneven_.deg());
            }
            last_ratio_ = ratio;
        }
        step(wheel, tick);
        last_period_ = period;
        last_tick_ = tick;
        edges_ = std::min(edges_ + 1, 1 << 20);
        return decide(wheel);
    }

    /// The last edge began a new search: the edges before it are not connected to it.
    [[nodiscard]] bool begins() const noexcept { return edges_ == 1; }
    /// The story that won; its tooth is less than wheel.period.
    [[nodiscard]] const Trace& trace() const noexcept { return won_; }
    [[nodiscard]] const Ripple& ripple() const noexcept { return ripple_; }

  private:
    /// One interval cannot cost more than this: whatever happened, the edge may still be a tooth. Less than kLead, so
    /// that a gap is only believed when it was seen from both sides: the first interval after a standstill is long too.
    static constexpr float kMostCost = 8.0F;
    /// The first period of a stream may hold a standstill; the ratio to it says little.
    static constexpr float kMostFirstCost = 1.5F;
    /// Gaps passed before an interval as odd as this, or a fault, prove nothing.
    static constexpr float kOddCost = kMissedCost;
    static constexpr float kLead = 5.3F;
    static constexpr float kLeadAgain = 2.5F;
    /// Cost of a story that begins anew here: what came before were no teeth, or a standstill. As dear as two faults, so that
    /// whatever edges came before an engine was turned, those that follow decide.
    static constexpr float kAnew = kMissedCost + kExtraCost;
    static constexpr float kCalmer = 4.0F;
    static constexpr float kDueEarly = 0.25F;  ///< pitches by which a tooth may come before its time
    static constexpr int kMostJump = 3;
    static constexpr double kPauseRatio = 6.0;

    [[nodiscard]] bool pause(const WheelTable& wheel, std::int64_t tick) const noexcept {
        if (edges_ < 2) return false;
        // Even the widest gap cannot make a period this long after one of the narrowest.
        const auto longest = *std::max_element(wheel.span_deg.begin(), wheel.span_deg.begin() + wheel.period);
        const auto shortest = *std::min_element(wheel.span_deg.begin(), wheel.span_deg.begin() + wheel.period);
        return ticks_between(last_tick_, tick) > kPauseRatio * static_cast<double>(longest / shortest) * last_period_;
    }

    void begin(const WheelTable& wheel, std::int64_t tick) noexcept {
        Trace start;
        start.anchor_tick = tick;
        std::fill_n(story_.begin(), wheel.period, PackedTrace(start, tick, wheel.low_contrast));
        ripple_.restless();
        slow_.reset();
        last_tick_ = tick;
        edges_ = 1;
        won_ = start;
    }

    struct Arrival {
        Trace trace{};
        float x = 0.0F;
        float distance_deg = 0.0F;  ///< between the centres of the two intervals; 0 = x says nothing about the ripple
        float least_deg = 0.0F;     ///< the shorter of them
        bool extra = false;
    };

    /// The cheapest story that ends with the edge at `tick` being `to`. `before(tooth)` gives the stories before it.
    template <class Before>
    [[nodiscard]] Arrival arrive(const WheelTable& wheel, int to, std::int64_t tick, Before before) const noexcept {
        const bool swings = wheel.low_contrast;
        Arrival best{before(to).unpack(to, last_tick_, swings), 0.0F, 0.0F, 0.0F, true};
        best.trace.cost += kExtraCost;
        best.trace.faultless = false;
        best.trace.gaps = 0;
        float least = best.trace.cost + owed(wheel, best.trace, tick);
        const int most = std::min(kMostJump, std::max(1, wheel.period - 1));
        int from = to;
        float missed = 0.0F;
        for (int jump = 1; jump <= most; ++jump) {
            from = from == 0 ? wheel.period - 1 : from - 1;
            const PackedTrace& story = before(from);
            if (jump > 1) missed += missed_cost(wheel, from + 1 == wheel.period ? 0 : from + 1, nullptr);
            // Most stories are too dear to be worth unpacking.
            if (story.cost() + missed >= least) continue;
            Trace trace = story.unpack(from, last_tick_, swings);
            pass(wheel, trace);
            for (int k = 1; k < jump; ++k) miss(wheel, trace, nullptr);
            if (trace.cost >= least) continue;
            const float before_deg = trace.rate_span;
            const float most_cost = trace.periods < Trace::kSteady ? kMostFirstCost : kMostCost;
            const float span_deg = trace.anchor_span;
            const Fit fit = land(wheel, trace, tick, spread_, nullptr);
            trace.cost += std::min(most_cost, fit.firm_cost) + fit.weak_cost;
            if (fit.firm_cost > kOddCost) trace.gaps = 0;
            trace.swing += fit.x * fit.x - trace.swing / static_cast<float>(2 * wheel.period);
            trace.tooth = to;
            if (trace.cost >= least) continue;
            least = trace.cost;
            best = {trace, fit.x, trace.firm() && before_deg > 0.0F ? 0.5F * (before_deg + span_deg) : 0.0F,
                    std::min(before_deg, span_deg), false};
        }
        return best;
    }

    /// What a story that takes the edge at `tick` for none is still to pay: where the next tooth was due by then, it will be missing.
    [[nodiscard]] static float owed(const WheelTable& wheel, const Trace& trace, std::int64_t tick) noexcept {
        const int next = wheel.next(trace.tooth);
        const float due_deg = trace.anchor_span + wheel.span(trace.tooth) - kDueEarly * wheel.pitch(next);
        const bool due = ticks_between(trace.anchor_tick, tick) > static_cast<double>(due_deg) * trace.rate;
        return trace.rate > 0.0 && due ? missed_cost(wheel, next, nullptr) : 0.0F;
    }

    void step(const WheelTable& wheel, std::int64_t tick) noexcept {
        // Going down, the teeth before one still hold their old stories; the lowest look back over the top.
        const int n = wheel.period;
        const bool swings = wheel.low_contrast;
        spread_ = {ripple_.now.ripple * slow_.swing() * slow_.swing(), ripple_.now.uneven_deg};
        std::array<PackedTrace, kMostJump> top;
        for (int k = 0; k < kMostJump; ++k)
            top[static_cast<std::size_t>(k)] = story_[static_cast<std::size_t>(std::max(0, n - 1 - k))];
        Arrival winner{};
        for (int to = n - 1; to >= 0; --to) {
            const auto before = [&](int tooth) -> const PackedTrace& {
                return tooth > to ? top[static_cast<std::size_t>(n - 1 - tooth)]
                                  : story_[static_cast<std::size_t>(tooth)];
            };
            Arrival arrival = arrive(wheel, to, tick, before);
            if (arrival.trace.cost > kAnew) {
                arrival.trace.cost = kAnew;
                arrival.trace.faultless = false;
                arrival.trace.gaps = 0;
            }
            story_[static_cast<std::size_t>(to)] = PackedTrace(arrival.trace, tick, swings);
            if (to == n - 1 || arrival.trace.cost < winner.trace.cost) winner = arrival;
        }
        last_was_extra_ = winner.extra;
        won_ = winner.trace;
        won_.cost = 0.0F;
        if (winner.distance_deg > 0.0F)
            ripple_.observe(winner.x, winner.distance_deg, winner.least_deg);
        else
            ripple_.decay();
        for (int tooth = 0; tooth < n; ++tooth) {
            PackedTrace& story = story_[static_cast<std::size_t>(tooth)];
            story.set_cost(story.cost() - winner.trace.cost);
        }
    }

    /// Does the best story lead by enough?
    [[nodiscard]] bool decide(const WheelTable& wheel) const noexcept {
        // Nothing to tell apart: only wait until the speed is known.
        if (wheel.period == 1) return edges_ > (wheel.teeth > 4 ? 2 : 1);
        // The story must have passed a gap at known speed (stories that begin in one explain the long first periods of
        // a start from standstill) and not end in an extra edge (then this edge is no tooth to start from). A story
        // that has stood through two gaps needs less of a lead: rivals that branch off it at each gap keep it small.
        if (last_was_extra_ || trace().gaps == 0) return false;
        float rivals = 0.0F;
        const float lead = trace().gaps > 1 ? kLeadAgain : kLead;
        const float most = chance(lead);
        for (int tooth = 0; tooth < wheel.period && rivals <= most; ++tooth)
            if (tooth != won_.tooth) rivals += chance(story_[static_cast<std::size_t>(tooth)].cost());
        return rivals <= most && (!wheel.low_contrast || calmest(wheel));
    }

    /// Nearly e^-cost, to a fiftieth for costs up to 10. Rational, so that every platform gives the same bits.
    [[nodiscard]] static float chance(float cost) noexcept {
        const float eighth = 0.125F * cost;
        const float root = 1.0F / (1.0F + eighth * (1.0F + eighth * (0.5F + eighth * (1.0F / 6.0F))));
        const float square = root * root;
        const float fourth = square * square;
        return fourth * fourth;
    }

    /// Unequal vanes: a swing that repeats each revolution can make the wrong place look right, and then more
    /// revolutions do not help. The best story must need far less of a swing than each other one without faults, over
    /// a revolution.
    [[nodiscard]] bool calmest(const WheelTable& wheel) const noexcept {
        if (edges_ < wheel.period + 2 || !trace().faultless) return false;
        for (int tooth = 0; tooth < wheel.period; ++tooth) {
            const PackedTrace& other = story_[static_cast<std::size_t>(tooth)];
            if (tooth != won_.tooth && other.faultless() && other.swing() < kCalmer * won_.swing) return false;
        }
        return true;
    }

    std::array<PackedTrace, kMaxTeeth> story_{};  ///< by tooth, relative to last_tick_
    Trace won_{};                                 ///< the best one
    Ripple ripple_{};
    std::int64_t last_tick_ = 0;
    double last_period_ = 0.0;
    float last_ratio_ = 0.0F;  ///< log ratio of the last two periods
    UnevenTeeth uneven_{};
    SlowTurning slow_{};
    Spread spread_{};
    std::int32_t edges_ = 0;
    bool last_was_extra_ = false;
};

}  // namespace kurbel::decoding
