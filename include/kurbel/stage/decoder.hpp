// From edges to teeth: which tooth of the wheel passed the sensor, in which revolution of the engine cycle.
#pragma once

#include <array>
#include <cstdint>
#include <type_traits>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/stage/cam_phase.hpp"
#include "kurbel/stage/cam_queue.hpp"
#include "kurbel/stage/crank_place.hpp"
#include "kurbel/stage/gap_search.hpp"
#include "kurbel/stage/odd_turns.hpp"
#include "kurbel/stage/tick_unwrap.hpp"
#include "kurbel/stage/tooth_backlog.hpp"
#include "kurbel/stage/tooth_tracker.hpp"
#include "kurbel/stage/wheel_table.hpp"

namespace kurbel {

/// Teeth that one push can give out at most: all that waited for the wheel's position to be known.
inline constexpr int kMaxTeethPerPush = decoding::ToothBacklog::kRoom + decoding::ToothTracker::kMostOpen;

/// Turns crank and cam edges into teeth.
///
/// Teeth come out one edge late (the next edge tells whether it was a tooth), and some edges late where edges are in
/// doubt. No tooth is invented: a tooth without an edge is a jump of `index`, counted in `missed`; an edge that is no
/// tooth is dropped, counted in `extra`.
///
/// At the start, and after a loss, the edges wait until the position is known (about a revolution). Then those before
/// come out at once, placed backwards by counting, as far back as no edge was missed or added.
///
/// Tooth::half is 0 in the revolution (from place 0's edge to the next) that holds cylinder 1's firing TDC, which comes
/// tdc1_deg after place 0's edge, and 1 in the other. Until the cam has told, half alternates from an arbitrary start
/// with phase_known = false. Two-stroke: half is always 0 and phase_known true.
///
/// Wheels that look the same after part of a revolution (plain ring gears) give no teeth until the cam has told the
/// position. No allocation, no exceptions; not thread-safe; a copy is a snapshot.
class Decoder {
  public:
    Decoder() = default;

    /// `config` passed validate(). Forgets everything.
    void configure(const Config& config) noexcept;
    /// Forgets all edges, keeps the configuration.
    void reset() noexcept;

    /// Takes one edge; `raw_tick` wraps where the timer has a width. Writes the teeth that became certain to `out`
    /// (room for kMaxTeethPerPush) and returns their number. An edge at the time of the one before it on the same
    /// signal, or in the past, is dropped and counted in `faults`; where a row of edges from the past agrees with itself, the
    /// tick before them was wrong: time goes on from theirs, and a loss is counted.
    [[nodiscard]] int push(std::int64_t raw_tick, Signal signal, Tooth* out) noexcept;
    /// Gives out the teeth still held back at the end of the stream.
    [[nodiscard]] int finish(Tooth* out) noexcept;

    [[nodiscard]] const SyncState& sync() const noexcept { return sync_; }
    /// Unwrapped tick of the last edge.
    [[nodiscard]] std::int64_t now() const noexcept { return unwrap_.now(); }
    /// The crank's own motion told the phase: flips the internal half where `flip` is set. Ignored once a cam has
    /// spoken.
    void set_phase_from_crank(bool flip) noexcept;

  private:
    [[nodiscard]] int from_the_past(std::int64_t raw_tick, Signal signal, Tooth* out) noexcept;
    [[nodiscard]] int crank(std::int64_t tick, Tooth* out) noexcept;
    [[nodiscard]] int give_sure(const decoding::Settled& settled, std::int64_t tick, Tooth* out) noexcept;
    [[nodiscard]] int seek(std::int64_t tick, Tooth* out) noexcept;
    void begin_tracking(std::int64_t tick) noexcept;
    [[nodiscard]] int write_backlog(Tooth* out) noexcept;
    [[nodiscard]] int give_settled(const decoding::Settled* settled, int count, Tooth* out) noexcept;
    [[nodiscard]] int give(const decoding::Settled& settled, Tooth* out) noexcept;
    void pass(std::int64_t tick, int jump) noexcept;
    void advance(int jump) noexcept;
    void note_slip() noexcept;
    void write(std::int64_t tick, Tooth& out) noexcept;
    void lose() noexcept;
    void doubt(std::int64_t tick) noexcept;
    void place_cam_edges(std::int64_t tick, double from_deg, double span_deg) noexcept;

    decoding::TickUnwrap unwrap_{};
    decoding::WheelTable wheel_{};
    decoding::GapSearch search_{};
    decoding::ToothBacklog backlog_{};  ///< empty once the position is known
    decoding::ToothTracker tracker_{};
    decoding::CamPhase cam_{};
    decoding::CamQueue cam_waits_{};
    decoding::CrankPlace place_{};  ///< of the last settled tooth
    SyncState sync_{};
    std::int64_t last_tick_ = 0;  ///< of the last settled tooth
    decoding::OddTurns odd_turns_{};
    std::int32_t disagreements_ = 0;  ///< edges in a row for which a search beside the tracking says another tooth
    bool doubts_ = false;             ///< such a search is going on
    bool four_stroke_ = true;
    bool tracking_ = false;  ///< the wheel is being followed, though its position may yet be open
    bool restart_ = true;    ///< the next tooth given out is the first after a loss
    bool crank_phase_ = false;
};

inline void Decoder::configure(const Config& config) noexcept {
    unwrap_.configure(config.timer);
    wheel_.build(config.crank_wheel);
    four_stroke_ = config.engine.strokes != 2;
    place_.configure(four_stroke_);
    cam_.configure(config.cam_wheel, config.engine, wheel_, config.crank_wheel.tdc1_deg);
    reset();
}

inline void Decoder::reset() noexcept {
    unwrap_.reset();
    search_.configure(wheel_);
    backlog_.clear();
    cam_.reset();
    sync_ = SyncState{};
    sync_.phase = four_stroke_ ? Phase::unknown : Phase::not_needed;
    place_.reset();
    cam_waits_.clear();
    disagreements_ = 0;
    doubts_ = wheel_.low_contrast;
    odd_turns_.reset();
    tracking_ = false;
    restart_ = true;
    crank_phase_ = false;
}

inline int Decoder::push(std::int64_t raw_tick, Signal signal, Tooth* out) noexcept {
    ++sync_.edges;
    if (!unwrap_.push(raw_tick, signal)) return from_the_past(raw_tick, signal, out);
    if (signal == Signal::cam) {
        // Its place is known only when the next tooth has come. Of those that wait with the backlog, the newest count.
        if (cam_.needed()) cam_waits_.push(unwrap_.now(), !tracking_);
        return 0;
    }
    const std::int64_t tick = unwrap_.now();
    if (!tracking_ || !tracker_.sure(wheel_, tick)) return crank(tick, out);
    // Nearly all edges are the next tooth, and nothing else is to be done.
    const decoding::Settled settled = tracker_.settled();
    if (settled.slip != 0 || !cam_waits_.empty() || !backlog_.empty() || doubts_) return give_sure(settled, tick, out);
    advance(1);
    last_tick_ = settled.tick;
    write(settled.tick, *out);
    return 1;
}

/// An edge from the past: a fault, unless so many have come that one edge before them must have been the wrong one.
/// Apart from push(), which is to stay as short as it can be.
[[gnu::noinline]] inline int Decoder::from_the_past(std::int64_t raw_tick, Signal signal, Tooth* out) noexcept {
    if (!unwrap_.turn_back(raw_tick, signal)) {
        ++sync_.faults;
        return 0;
    }
    lose();
    if (signal == Signal::crank) return seek(unwrap_.now(), out);
    if (cam_.needed()) cam_waits_.push(unwrap_.now(), true);
    return 0;
}

inline int Decoder::give_sure(const decoding::Settled& settled, std::int64_t tick, Tooth* out) noexcept {
    const int given = give(settled, out);
    if (doubts_) doubt(tick);
    return given;
}

/// An edge that needs a closer look.
inline int Decoder::crank(std::int64_t tick, Tooth* out) noexcept {
    if (!tracking_) return seek(tick, out);
    std::array<decoding::Settled, decoding::ToothTracker::kMostOpen> settled;
    const int count = tracker_.push(wheel_, tick, settled.data());
    if (count < 0) {
        lose();
        return seek(tick, out);
    }
    const int given = give_settled(settled.data(), count, out);
    if (tracking_ && doubts_) doubt(tick);
    return given;
}

/// Unequal vanes are searched anew all the time: what looked right while cranking may look wrong in steady running. Other wheels
/// after odd revolutions.
inline void Decoder::doubt(std::int64_t tick) noexcept {
    const bool decided = search_.push(wheel_, tick);
    const int believed = tracker_.newest_tooth() % wheel_.period;
    if (!decided || believed < 0) return;
    const bool same = search_.trace().tooth == believed;
    disagreements_ = same ? 0 : disagreements_ + 1;
    if (disagreements_ > wheel_.period) return lose();
    if (!same || wheel_.low_contrast) return;
    doubts_ = false;
    odd_turns_.confirmed();
}

inline int Decoder::finish(Tooth* out) noexcept {
    if (!tracking_) return 0;
    std::array<decoding::Settled, decoding::ToothTracker::kMostOpen> settled;
    const int count = tracker_.finish(settled.data());
    return give_settled(settled.data(), count, out);
}

inline int Decoder::seek(std::int64_t tick, Tooth* out) noexcept {
    const bool found = search_.push(wheel_, tick);
    if (search_.begins()) {
        backlog_.clear();
        cam_waits_.forget_until(tick);
    }
    backlog_.push(tick);
    if (!found) return 0;
    begin_tracking(tick);
    return cam_.index_known() ? write_backlog(out) : 0;
}

/// Goes back to the first tooth of the backlog that is certain and passes the others once more, with the cam edges between.
inline void Decoder::begin_tracking(std::int64_t tick) noexcept {
    tracking_ = true;
    tracker_.start(wheel_, search_.trace(), tick, search_.ripple());
    const int tooth = search_.trace().tooth;
    backlog_.keep_newest(backlog_.consecutive(wheel_, tooth, search_.ripple().now.uneven_deg));
    place_.begin(wheel_, tooth, backlog_.count() - 1);
    last_tick_ = backlog_[0];
    cam_waits_.forget_until(last_tick_);
    cam_.begin(place_.turned_deg(wheel_));
    for (int i = 1; i < backlog_.count(); ++i) pass(backlog_[i], 1);
}

/// The newest edge of the backlog is the tooth of `place_`: gives all of them out.
inline int Decoder::write_backlog(Tooth* out) noexcept {
    const int count = backlog_.count();
    place_.step_back(wheel_, count - 1);
    for (int i = 0; i < count; ++i) {
        if (i > 0) advance(1);
        write(backlog_[i], out[i]);
    }
    backlog_.clear();
    return count;
}

inline int Decoder::give_settled(const decoding::Settled* settled, int count, Tooth* out) noexcept {
    int given = 0;
    for (int i = 0; i < count; ++i) {
        if (settled[i].jump == 0) {
            ++sync_.extra;
            odd_turns_.extra();
            continue;
        }
        sync_.missed += settled[i].jump - 1;
        if (settled[i].jump > 1) odd_turns_.missed();
        given += give(settled[i], out + given);
        if (!tracking_) break;
    }
    return given;
}

inline int Decoder::give(const decoding::Settled& settled, Tooth* out) noexcept {
    pass(settled.tick, settled.jump);
    if (settled.slip == decoding::GapCheck::kLost) {
        lose();
        return 0;
    }
    if (settled.slip != 0) {
        note_slip();
        place_.move(wheel_, settled.slip);
    }
    if (!backlog_.empty()) {
        if (settled.slip != 0 || settled.jump != 1) backlog_.clear();
        backlog_.push(settled.tick);
        return cam_.index_known() ? write_backlog(out) : 0;
    }
    write(settled.tick, *out);
    return 1;
}

/// Moves on to the tooth at `tick`, by way of the cam edges before it.
inline void Decoder::pass(std::int64_t tick, int jump) noexcept {
    if (!cam_waits_.empty() && cam_waits_.front() <= tick)
        place_cam_edges(tick, place_.turned_deg(wheel_), static_cast<double>(place_.span_of(wheel_, jump)));
    advance(jump);
    last_tick_ = tick;
}

/// The index had been wrong: a loss, mended at once.
inline void Decoder::note_slip() noexcept {
    if (sync_.synchronised) ++sync_.losses;
    restart_ = true;
}

inline void Decoder::advance(int jump) noexcept {
    const int begun = place_.advance(wheel_, jump);
    if (begun == 0) return;
    if (sync_.synchronised) sync_.revolutions += begun;
    if (!odd_turns_.end_turn() || doubts_) return;
    doubts_ = true;
    search_.reset();
}

inline void Decoder::write(std::int64_t tick, Tooth& out) noexcept {
    ++sync_.teeth;
    sync_.synchronised = true;
    out.tick = tick;
    out.revolution = place_.revolution();
    out.index = place_.index();
    out.half = place_.half();
    out.restart = restart_;
    out.phase_known = !four_stroke_ || cam_.half_known() || crank_phase_;
    restart_ = false;
}

inline void Decoder::lose() noexcept {
    if (sync_.synchronised) ++sync_.losses;
    sync_.synchronised = false;
    tracking_ = false;
    restart_ = true;
    crank_phase_ = false;
    search_.reset();
    backlog_.clear();
    cam_.reset();
    cam_waits_.clear();
    disagreements_ = 0;
    doubts_ = wheel_.low_contrast;
    odd_turns_.reset();
}

/// Gives the cam edges since the last settled tooth their crank angle, by time between that tooth and the one at
/// `tick`.
inline void Decoder::place_cam_edges(std::int64_t tick, double from_deg, double span_deg) noexcept {
    const double period = decoding::ticks_between(last_tick_, tick);
    int placed = 0;
    double moved_deg = 0.0;
    while (placed < cam_waits_.count() && cam_waits_[placed] <= tick) {
        const double since = decoding::ticks_between(last_tick_, cam_waits_[placed]);
        ++placed;
        if (cam_.push(from_deg + moved_deg + span_deg * since / period) == decoding::CamPhase::Answer::rotation) {
            if (place_.rotate(wheel_, cam_.rotation_deg())) note_slip();
            moved_deg += cam_.rotation_deg();
        }
        if (cam_.half_known() && four_stroke_) sync_.phase = Phase::cam;
    }
    cam_waits_.drop(placed);
}

inline void Decoder::set_phase_from_crank(bool flip) noexcept {
    if (!four_stroke_ || cam_.half_known()) return;
    if (flip) place_.flip();
    crank_phase_ = true;
    sync_.phase = Phase::crank;
}

static_assert(std::is_trivially_copyable_v<Decoder>);

}  // namespace kurbel
