// The stories that edges in doubt may tell: of each, which tooth it is, or that it is none.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>

#include "kurbel/stage/tooth_fit.hpp"
#include "kurbel/stage/wheel_table.hpp"

namespace kurbel::decoding {

/// Every sensible story of a few open edges, the best first. Each edge lets a story go on in several ways: as one of the next teeth, or
/// as no tooth. Those far behind the best are given up, and of two that cannot be told apart from now on the cheaper stays.
class ToothStories {
  public:
    static constexpr int kMostOpen = 8;  ///< edges that a story tells of at most
    static constexpr int kMostStories = 12;
    static constexpr int kMostJump = 4;  ///< teeth that may be skipped at once

    struct Story {
        Trace trace{};
        float owed = 0.0F;                           ///< for teeth that are overdue though not yet passed
        std::array<std::uint8_t, kMostOpen> jump{};  ///< of each open edge

        [[nodiscard]] float total() const noexcept { return trace.cost + owed; }
    };

    /// The tooth is known, and nothing has happened before.
    void reset() noexcept {
        clear();
        before_ = 0.0F;
    }
    /// None: there is no doubt.
    void clear() noexcept { count_ = 0; }
    [[nodiscard]] bool any() const noexcept { return count_ != 0; }
    /// One story without edges, that begins at a settled tooth.
    void begin(const Trace& root) noexcept {
        story_[0] = Story{root, 0.0F, {}};
        count_ = 1;
    }

    /// The most likely one; there is one.
    [[nodiscard]] const Story& best() const noexcept { return story_[0]; }

    /// What it costs, with the edges settled lately.
    [[nodiscard]] float cost() const noexcept { return best().total() + before_; }
    /// One more edge was settled as a tooth. Down to zero: a number that only ever shrinks ends among the denormal ones, which cost
    /// more than all the rest.
    void forget() noexcept { before_ = before_ > kNothing ? before_ * kKept : 0.0F; }

    /// By this lead the best is good enough to go on by the fast path where it ends in the next tooth.
    [[nodiscard]] bool clear_best() const noexcept {
        return count_ == 1 || story_[1].total() >= story_[0].total() + kClear;
    }

    /// Whether all tell the same of the first open edge.
    [[nodiscard]] bool all_agree() const noexcept {
        for (int i = 1; i < count_; ++i)
            if (story_[at(i)].jump[0] != story_[0].jump[0]) return false;
        return true;
    }
    /// Gives up those that tell something else of it than the best.
    void agree_with_best() noexcept {
        int kept = 1;
        for (int i = 1; i < count_; ++i)
            if (story_[at(i)].jump[0] == story_[0].jump[0]) story_[at(kept++)] = story_[at(i)];
        count_ = kept;
    }
    /// The first open edge is settled; it cost `spent`.
    void drop_first(float spent) noexcept {
        for (int i = 0; i < count_; ++i) {
            Story& story = story_[at(i)];
            std::copy(story.jump.begin() + 1, story.jump.end(), story.jump.begin());
            story.trace.cost -= spent;
        }
        before_ += spent;
    }

    /// Teeth that may be skipped at once on this wheel.
    [[nodiscard]] static int most_jump(const WheelTable& wheel) noexcept {
        return std::clamp(wheel.teeth, 2, kMostJump);
    }

    /// Every story goes on with open edge number `edge` at `tick`, in each way that it allows; the best ones stay, sorted by cost.
    void follow(const WheelTable& wheel, std::int64_t tick, int edge, Spread spread, const ToothHabit& habit) noexcept {
        Stories grown;
        int count = 0;
        const int most = most_jump(wheel);
        for (int i = 0; i < count_; ++i) {
            const Story& parent = story_[at(i)];
            Story next = parent;
            const auto moved_deg =
                static_cast<float>(ticks_between(parent.trace.anchor_tick, tick) / parent.trace.rate);
            float reach_deg = parent.trace.anchor_span;
            float owed = 0.0F;
            next.owed = 0.0F;
            for (int jump = 1, tooth = parent.trace.tooth; jump <= most; ++jump) {
                next.trace = extend(wheel, parent.trace, tick, jump, spread, &habit);
                next.jump[at(edge)] = static_cast<std::uint8_t>(jump);
                keep(grown, count, next);
                reach_deg += wheel.span(tooth);
                tooth = wheel.next(tooth);
                if (moved_deg > reach_deg + 0.5F * wheel.span(tooth)) owed += missed_cost(wheel, tooth, &habit);
            }
            // No tooth at all. If the edge came late, the teeth it came too late for will be missing all the same.
            next.trace = parent.trace;
            next.trace.cost += kExtraCost;
            next.owed = owed;
            next.jump[at(edge)] = 0;
            keep(grown, count, next);
        }
        const float limit = grown[0].total() + kGiveUp;
        while (count > 1 && grown[at(count - 1)].total() > limit) --count;
        std::copy_n(grown.begin(), count, story_.begin());
        count_ = count;
    }

  private:
    using Stories = std::array<Story, kMostStories>;

    /// Stories this far behind the best are given up. More than an extra edge costs, so that an edge that seems a tooth
    /// may yet turn out to be none.
    static constexpr float kGiveUp = 8.0F;
    static constexpr float kClear = 5.0F;
    static constexpr float kKept = 0.9F;  ///< a settled edge leaves this share of the cost before it
    static constexpr float kNothing = 1e-3F;

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    /// Inserts a story; of two that cannot be told apart from now on, the cheaper stays.
    static void keep(Stories& stories, int& count, const Story& story) noexcept {
        const Trace& trace = story.trace;
        for (int i = 0; i < count; ++i) {
            const Trace& other = stories[at(i)].trace;
            if (other.tooth != trace.tooth || other.anchor_tick != trace.anchor_tick ||
                other.anchor_span != trace.anchor_span)
                continue;
            if (other.cost <= trace.cost) return;
            std::copy(stories.begin() + i + 1, stories.begin() + count, stories.begin() + i);
            --count;
            break;
        }
        if (count == kMostStories) {
            if (stories[kMostStories - 1].total() <= story.total()) return;
            --count;
        }
        int place = count;
        while (place > 0 && stories[at(place - 1)].total() > story.total()) {
            stories[at(place)] = stories[at(place - 1)];
            --place;
        }
        stories[at(place)] = story;
        ++count;
    }

    Stories story_{};
    std::int32_t count_ = 0;
    float before_ = 0.0F;  ///< cost of the edges settled lately
};

}  // namespace kurbel::decoding
