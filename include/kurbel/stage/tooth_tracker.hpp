// Follows a wheel whose tooth is known: says of each edge which tooth it is, or that it is none.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

#include "kurbel/stage/gap_check.hpp"
#include "kurbel/stage/tooth_fit.hpp"
#include "kurbel/stage/tooth_stories.hpp"

namespace kurbel::decoding {

/// One edge that has been settled: `jump` teeth after the settled tooth before it, or 0 = it is no tooth.
struct Settled {
    std::int64_t tick = 0;
    std::int32_t jump = 0;
    std::int32_t slip = 0;  ///< teeth that the index must be moved by: it had been wrong; or GapCheck::kLost
};

/// The last edge is always held back, because the one after it tells whether it was a tooth: a lag of one tooth.
/// Where an edge is in doubt, up to kMostOpen edges are held and every sensible story of them is followed (ToothStories); an edge is
/// settled when all stories that are not far behind the best agree about it.
class ToothTracker {
  public:
    static constexpr int kMostOpen = ToothStories::kMostOpen;  ///< edges held at most

    /// Starts at the tooth of the edge at `tick`, where `trace` stands.
    void start(const WheelTable& wheel, const Trace& trace, std::int64_t tick, const Ripple& ripple) noexcept {
        root_ = trace;
        root_.cost = 0.0F;
        root_tick_ = tick;
        ripple_ = ripple;
        open_ = 0;
        stories_.reset();
        slip_ = 0;
        check_.reset();
        habit_.reset(wheel);
    }

    /// Fast path: true if the held edge is beyond doubt the next tooth, and so is this one after it. Then the held
    /// edge is settled (settled()) and this one held. False: nothing happened, call push().
    [[nodiscard]] bool sure(const WheelTable& wheel, std::int64_t tick) noexcept {
        if (open_ != 1 || stories_.any()) return false;
        const auto tooth = static_cast<std::size_t>(head_.tooth);
        const auto target = static_cast<std::size_t>(wheel.next(head_.tooth));
        if (head_.anchor_span + wheel.span_deg[tooth] != wheel.reach_deg[target]) return false;
        const double rate = ticks_between(head_.anchor_tick, tick) * static_cast<double>(wheel.sure_inverse[tooth]);
        const double usual = head_.rate * static_cast<double>(habit_.ratio[target]);
        if (2.0 * std::abs(rate - usual) > static_cast<double>(wheel.sure_width[tooth]) * (rate + usual)) return false;
        root_ = head_;
        root_tick_ = open_ticks_[0];
        open_ticks_[0] = tick;
        learn_held(wheel);
        advance_head(wheel, tick, rate, usual);
        stories_.forget();
        slip_ = 0;
        if (check_.wants(wheel, root_.tooth)) check(wheel, tick);
        return true;
    }
    /// The edge that sure() settled.
    [[nodiscard]] Settled settled() const noexcept { return {root_tick_, 1, slip_}; }

    /// General path. Writes up to kMostOpen settled edges to `out`, returns how many; -1 = synchronism is lost.
    [[nodiscard]] int push(const WheelTable& wheel, std::int64_t tick, Settled* out) noexcept;

    /// Settles all that is held, at the end of the stream.
    [[nodiscard]] int finish(Settled* out) noexcept;

    /// Tooth of the newest edge, -1 while that is in doubt.
    [[nodiscard]] int newest_tooth() const noexcept {
        if (stories_.any()) return -1;
        return open_ == 1 ? head_.tooth : root_.tooth;
    }

    /// Ticks a degree by the last settled interval.
    [[nodiscard]] double rate() const noexcept { return root_.rate; }

  private:
    /// The cost at which nothing fits any more.
    static constexpr float kLost = 45.0F;

    /// A pause so many times longer than the reach of the stories is a stop.
    static constexpr double kStopRatio = 4.0;

    [[nodiscard]] bool stopped(const WheelTable& wheel, std::int64_t tick) const noexcept;

    /// Takes the edge at `tick` for the next tooth and holds it. What it teaches waits until it is settled.
    void advance_head(const WheelTable& wheel, std::int64_t tick, double rate, double usual) noexcept {
        const float span_deg = head_.anchor_span + wheel.span(head_.tooth);
        head_.tooth = wheel.next(head_.tooth);
        held_ = {};
        if (wheel.is_weak(head_.tooth)) return place_weak_head(wheel, span_deg, rate, usual);
        // Only a deviation that matters is worth a division.
        if (std::abs(rate - usual) > 0.02 * rate) {
            held_.ratio = static_cast<float>(rate / head_.rate);
            held_.x = log_ratio(rate, usual);
            held_.distance_deg = 0.5F * (span_deg + head_.rate_span);
            held_.least_deg = std::min(span_deg, head_.rate_span);
        }
        head_.anchor_tick = tick;
        head_.rate = rate;
        head_.rate_span = span_deg;
        head_.anchor_span = 0.0F;
        head_.weak_count = 0;
        head_.faint = false;
    }

    // What few teeth need stays out of line: else the way that all teeth go is, in a large program, no longer inlined itself.
    [[gnu::noinline]] void place_weak_head(const WheelTable& wheel, float span_deg, double rate,
                                           double usual) noexcept {
        head_.anchor_span = span_deg;
        held_.ratio = static_cast<float>(rate / head_.rate);
        const float place = span_deg / wheel.weak_pitch_deg;
        head_.note_weak(place, place * held_.ratio, place * static_cast<float>(usual / head_.rate), 0.0F);
    }

    /// The held edge is settled, and root_ stands at it.
    void learn_held(const WheelTable& wheel) noexcept {
        if (held_.ratio > 0.0F || held_.distance_deg > 0.0F)
            learn_lesson(wheel);
        else
            ripple_.decay();
        if (habit_.learned < wheel.teeth) ++habit_.learned;
    }

    [[gnu::noinline]] void learn_lesson(const WheelTable& wheel) noexcept {
        if (held_.ratio > 0.0F) habit_.learn(wheel, root_.tooth, held_.ratio);
        if (held_.distance_deg > 0.0F)
            ripple_.observe(held_.x, held_.distance_deg, held_.least_deg);
        else
            ripple_.decay();
    }

    /// After sure(): the held edge is open_ticks_[0]. A slip moves it along.
    void check(const WheelTable& wheel, std::int64_t tick) noexcept {
        if (weak_after_gap(wheel, root_.tooth)) habit_.weak_seen();
        slip_ = check_.note(wheel, root_, root_tick_, 1, 0.0F, ripple_.now, habit_);
        if (slip_ != 0 && slip_ != GapCheck::kLost) head_ = extend(wheel, root_, tick, 1, ripple_.now, &habit_);
    }

    /// What the held edge teaches; zeros = nothing.
    struct Lesson {
        float ratio = 0.0F;
        float x = 0.0F;
        float distance_deg = 0.0F;
        float least_deg = 0.0F;
    };

    void follow(const WheelTable& wheel, int edge) noexcept {
        stories_.follow(wheel, open_ticks_[static_cast<std::size_t>(edge)], edge, ripple_.now, habit_);
    }
    [[nodiscard]] int settle(const WheelTable& wheel, Settled* out) noexcept;
    void settle_first(const WheelTable& wheel, Settled& out) noexcept;
    void note_weak(const WheelTable& wheel, int from, int jump) noexcept;
    [[nodiscard]] float land_root(const WheelTable& wheel, std::int64_t tick, int jump) noexcept;
    [[nodiscard]] Lesson lesson(const WheelTable& wheel) const noexcept;
    void retell(const WheelTable& wheel) noexcept;

    Trace root_{};  ///< at the last settled tooth
    Trace head_{};  ///< at the held edge, while there is no doubt
    Lesson held_{};
    std::array<std::int64_t, kMostOpen> open_ticks_{};
    ToothStories stories_{};  ///< none: no doubt
    Ripple ripple_{};
    ToothHabit habit_{};
    std::int64_t root_tick_ = 0;
    GapCheck check_{};
    std::int32_t slip_ = 0;  ///< of the edge that sure() settled
    std::int32_t open_ = 0;
};

inline bool ToothTracker::stopped(const WheelTable& wheel, std::int64_t tick) const noexcept {
    const std::int64_t last = open_ > 0 ? open_ticks_[static_cast<std::size_t>(open_ - 1)] : root_tick_;
    const int most = ToothStories::most_jump(wheel);
    float reach = 0.0F;
    for (int k = 0, tooth = root_.tooth; k <= most; ++k, tooth = wheel.next(tooth)) reach += wheel.span(tooth);
    return ticks_between(last, tick) > kStopRatio * static_cast<double>(reach) * root_.rate;
}

inline int ToothTracker::push(const WheelTable& wheel, std::int64_t tick, Settled* out) noexcept {
    if (stopped(wheel, tick)) return -1;
    if (!stories_.any()) retell(wheel);
    open_ticks_[static_cast<std::size_t>(open_)] = tick;
    follow(wheel, open_);
    ++open_;
    if (stories_.cost() > kLost) return -1;
    return settle(wheel, out);
}

/// Moves the first open edge out of all stories, which agree about it.
inline void ToothTracker::settle_first(const WheelTable& wheel, Settled& out) noexcept {
    const int jump = stories_.best().jump[0];
    const std::int64_t tick = open_ticks_[0];
    float spent = kExtraCost;
    if (jump != 1) check_.doubt(jump - 1);
    if (jump > 0) {
        const int from = root_.tooth;
        spent = land_root(wheel, tick, jump);
        note_weak(wheel, from, jump);
        stories_.forget();
    }
    std::copy(open_ticks_.begin() + 1, open_ticks_.begin() + open_, open_ticks_.begin());
    --open_;
    stories_.drop_first(spent);
    int slip = 0;
    if (check_.wants(wheel, root_.tooth)) slip = check_.note(wheel, root_, tick, jump, spent, ripple_.now, habit_);
    if (slip != 0 && slip != GapCheck::kLost) {
        stories_.reset();
        retell(wheel);
    }
    out = {tick, jump, slip};
}

/// Which weak teeth were seen, and which not, on the way from the tooth `from`.
inline void ToothTracker::note_weak(const WheelTable& wheel, int from, int jump) noexcept {
    for (int k = 1, tooth = wheel.next(from); k <= jump; ++k, tooth = wheel.next(tooth)) {
        if (!weak_after_gap(wheel, tooth)) continue;
        if (k == jump)
            habit_.weak_seen();
        else
            habit_.weak_vanished();
    }
}

/// Moves the root on by `jump` teeth and learns from it; returns the cost.
inline float ToothTracker::land_root(const WheelTable& wheel, std::int64_t tick, int jump) noexcept {
    head_ = extend(wheel, root_, tick, jump, ripple_.now, &habit_);
    held_ = lesson(wheel);
    root_ = head_;
    root_tick_ = tick;
    root_.cost = 0.0F;
    learn_held(wheel);
    habit_.learned = std::min(habit_.learned + jump - 1, wheel.teeth);
    return head_.cost;
}

/// What the step from root_ to head_ teaches. Where firm teeth were missed, it says nothing about one tooth's habit.
inline ToothTracker::Lesson ToothTracker::lesson(const WheelTable& wheel) const noexcept {
    const bool firm = head_.firm();
    const float span_deg = firm ? head_.rate_span : head_.anchor_span;
    Lesson lesson;
    const bool usual_way = span_deg < wheel.sure_span(head_.tooth) * 1.01F;
    if (root_.faint && !usual_way) return lesson;
    if (firm) {
        const auto usual = root_.rate * static_cast<double>(habit_.expect(wheel, head_.tooth, span_deg));
        lesson.x = log_ratio(head_.rate, usual);
        lesson.distance_deg = 0.5F * (span_deg + root_.rate_span);
        lesson.least_deg = std::min(span_deg, root_.rate_span);
        if (usual_way) lesson.ratio = static_cast<float>(head_.rate / root_.rate);
    } else if (usual_way && head_.weak_count > 0) {
        const auto last = static_cast<std::size_t>(head_.weak_count - 1);
        lesson.ratio = head_.weak_seen[last] / head_.weak_place[last];
    }
    return lesson;
}

/// Follows all open edges anew from the last settled tooth.
inline void ToothTracker::retell(const WheelTable& wheel) noexcept {
    stories_.begin(root_);
    for (int edge = 0; edge < open_; ++edge) follow(wheel, edge);
}

inline int ToothTracker::settle(const WheelTable& wheel, Settled* out) noexcept {
    int count = 0;
    while (open_ > 0) {
        // The best story's last edge is the next tooth: hold that edge back and be without doubt again.
        if (open_ == 1 && stories_.best().jump[0] == 1 && stories_.clear_best()) {
            head_ = stories_.best().trace;
            head_.cost = 0.0F;
            held_ = lesson(wheel);
            stories_.clear();
            break;
        }
        if (!stories_.all_agree()) {
            if (open_ < kMostOpen) break;
            stories_.agree_with_best();  // no room for more doubt
        }
        settle_first(wheel, out[count++]);
    }
    if (open_ == 0) stories_.clear();
    return count;
}

inline int ToothTracker::finish(Settled* out) noexcept {
    if (open_ == 0) return 0;
    int count = open_;
    for (int i = 0; i < count; ++i) {
        const auto at = static_cast<std::size_t>(i);
        out[i] = {open_ticks_[at], stories_.any() ? stories_.best().jump[at] : 1, 0};
    }
    open_ = 0;
    stories_.clear();
    return count;
}

}  // namespace kurbel::decoding
