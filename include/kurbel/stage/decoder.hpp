// From edges to teeth: which tooth of the wheel passed the sensor, in which revolution of the engine cycle.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <type_traits>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/stage/cam_phase.hpp"
#include "kurbel/stage/gap_search.hpp"
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
    /// signal, or in the past, is dropped and counted in `faults`.
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
    [[nodiscard]] int crank(std::int64_t tick, Tooth* out) noexcept;
    [[nodiscard]] int give_sure(const decoding::Settled& settled, std::int64_t tick, Tooth* out) noexcept;
    [[nodiscard]] int seek(std::int64_t tick, Tooth* out) noexcept;
    void begin_tracking(std::int64_t tick) noexcept;
    void forget_cam_before(std::int64_t tick) noexcept;
    void step_back(int teeth) noexcept;
    [[nodiscard]] int write_backlog(Tooth* out) noexcept;
    [[nodiscard]] int give_settled(const decoding::Settled* settled, int count, Tooth* out) noexcept;
    [[nodiscard]] int give(const decoding::Settled& settled, Tooth* out) noexcept;
    void pass(std::int64_t tick, int jump) noexcept;
    void move_index(int teeth) noexcept;
    void advance(int jump) noexcept;
    void write(std::int64_t tick, Tooth& out) noexcept;
    void lose() noexcept;
    void doubt(std::int64_t tick) noexcept;
    void queue_cam(std::int64_t tick) noexcept;
    void place_cam_edges(std::int64_t tick, double from_deg, double span_deg) noexcept;
    void rotate(double deg) noexcept;
    [[nodiscard]] double turned_deg() const noexcept;
    [[nodiscard]] float span_of(int jump) const noexcept;

    static constexpr int kCamQueue = kMaxCamEdges;

    decoding::TickUnwrap unwrap_{};
    decoding::WheelTable wheel_{};
    decoding::GapSearch search_{};
    decoding::ToothBacklog backlog_{};  ///< empty once the position is known
    decoding::ToothTracker tracker_{};
    decoding::CamPhase cam_{};
    SyncState sync_{};
    std::array<std::int64_t, kCamQueue> cam_ticks_{};
    std::int64_t revolution_ = 0;
    std::int64_t cycle_ = 0;      ///< engine cycles counted since the start of this stretch of synchronism
    std::int64_t last_tick_ = 0;  ///< of the last settled tooth
    std::int32_t index_ = 0;      ///< of the last settled tooth
    std::int32_t cam_waiting_ = 0;
    std::int32_t disagreements_ = 0;  ///< edges in a row for which a search of unequal vanes says another tooth
    std::uint8_t half_ = 0;
    bool four_stroke_ = true;
    bool tracking_ = false;  ///< the wheel is being followed, though its position may yet be open
    bool restart_ = true;    ///< the next tooth given out is the first after a loss
    bool crank_phase_ = false;
};

inline void Decoder::configure(const Config& config) noexcept {
    unwrap_.configure(config.timer);
    wheel_.build(config.crank_wheel);
    four_stroke_ = config.engine.strokes != 2;
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
    revolution_ = -1;
    cycle_ = 0;
    index_ = 0;
    cam_waiting_ = 0;
    disagreements_ = 0;
    half_ = 0;
    tracking_ = false;
    restart_ = true;
    crank_phase_ = false;
}

inline int Decoder::push(std::int64_t raw_tick, Signal signal, Tooth* out) noexcept {
    ++sync_.edges;
    if (!unwrap_.push(raw_tick, signal)) {
        ++sync_.faults;
        return 0;
    }
    if (signal == Signal::cam) {
        queue_cam(unwrap_.now());
        return 0;
    }
    const std::int64_t tick = unwrap_.now();
    if (!tracking_ || !tracker_.sure(wheel_, tick)) return crank(tick, out);
    // Nearly all edges are the next tooth, and nothing else is to be done.
    const decoding::Settled settled = tracker_.settled();
    if (settled.slip != 0 || cam_waiting_ > 0 || !backlog_.empty() || wheel_.low_contrast)
        return give_sure(settled, tick, out);
    advance(1);
    last_tick_ = settled.tick;
    write(settled.tick, *out);
    return 1;
}

inline int Decoder::give_sure(const decoding::Settled& settled, std::int64_t tick, Tooth* out) noexcept {
    const int given = give(settled, out);
    if (wheel_.low_contrast) doubt(tick);
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
    if (tracking_ && wheel_.low_contrast) doubt(tick);
    return given;
}

/// Unequal vanes are searched anew all the time: what looked right while cranking may look wrong in steady running.
inline void Decoder::doubt(std::int64_t tick) noexcept {
    const bool decided = search_.push(wheel_, tick);
    const int believed = tracker_.newest_tooth() % wheel_.period;
    if (!decided || believed < 0) return;
    disagreements_ = search_.trace().tooth == believed ? 0 : disagreements_ + 1;
    if (disagreements_ > wheel_.period) lose();
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
        forget_cam_before(tick);
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
    index_ = search_.trace().tooth;
    backlog_.keep_newest(backlog_.consecutive(wheel_, index_));
    const std::int64_t revolution = revolution_ + 1;
    step_back(backlog_.count() - 1);
    revolution_ = revolution;
    cycle_ = 0;
    last_tick_ = backlog_[0];
    forget_cam_before(last_tick_);
    cam_.begin(turned_deg());
    for (int i = 1; i < backlog_.count(); ++i) pass(backlog_[i], 1);
}

/// The cam edges before `tick` have no place.
inline void Decoder::forget_cam_before(std::int64_t tick) noexcept {
    const auto end = cam_ticks_.begin() + cam_waiting_;
    const auto first = std::find_if(cam_ticks_.begin(), end, [tick](std::int64_t cam) { return cam > tick; });
    cam_waiting_ = static_cast<std::int32_t>(std::copy(first, end, cam_ticks_.begin()) - cam_ticks_.begin());
}

inline void Decoder::step_back(int teeth) noexcept {
    for (index_ -= teeth; index_ < 0; index_ += wheel_.teeth) {
        --revolution_;
        if (half_ == 0) --cycle_;
        if (four_stroke_) half_ ^= 1U;
    }
}

/// The newest edge of the backlog is the tooth `index_`: gives all of them out.
inline int Decoder::write_backlog(Tooth* out) noexcept {
    const int count = backlog_.count();
    step_back(count - 1);
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
            continue;
        }
        sync_.missed += settled[i].jump - 1;
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
    if (settled.slip != 0) move_index(settled.slip);
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
    if (cam_waiting_ > 0 && cam_ticks_[0] <= tick)
        place_cam_edges(tick, turned_deg(), static_cast<double>(span_of(jump)));
    advance(jump);
    last_tick_ = tick;
}

/// The index had been wrong by `teeth`: a loss, mended at once. The place in the cycle moves along.
inline void Decoder::move_index(int teeth) noexcept {
    if (sync_.synchronised) ++sync_.losses;
    restart_ = true;
    ++revolution_;
    index_ += teeth;
    const bool back = index_ < 0;
    const bool on = index_ >= wheel_.teeth;
    if (!back && !on) return;
    index_ += back ? wheel_.teeth : -wheel_.teeth;
    if (four_stroke_) half_ ^= 1U;
    if (on && half_ == 0) ++cycle_;
    if (back && (half_ == 1 || !four_stroke_)) --cycle_;
}

inline void Decoder::advance(int jump) noexcept {
    index_ += jump;
    while (index_ >= wheel_.teeth) {
        index_ -= wheel_.teeth;
        ++revolution_;
        if (sync_.synchronised) ++sync_.revolutions;
        if (four_stroke_) half_ ^= 1U;
        if (half_ == 0) ++cycle_;
    }
}

inline void Decoder::write(std::int64_t tick, Tooth& out) noexcept {
    ++sync_.teeth;
    sync_.synchronised = true;
    out.tick = tick;
    out.revolution = revolution_;
    out.index = index_;
    out.half = half_;
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
    cam_waiting_ = 0;
    disagreements_ = 0;
}

inline void Decoder::queue_cam(std::int64_t tick) noexcept {
    if (!cam_.needed()) return;
    // Its place is known only when the next tooth has come. More edges than a cycle has in one gap are noise; of those that wait with
    // the backlog, the newest count.
    if (cam_waiting_ == kCamQueue) {
        if (tracking_) return;
        std::copy(cam_ticks_.begin() + 1, cam_ticks_.end(), cam_ticks_.begin());
        --cam_waiting_;
    }
    cam_ticks_[static_cast<std::size_t>(cam_waiting_++)] = tick;
}

/// Gives the cam edges since the last settled tooth their crank angle, by time between that tooth and the one at
/// `tick`.
inline void Decoder::place_cam_edges(std::int64_t tick, double from_deg, double span_deg) noexcept {
    const double period = decoding::ticks_between(last_tick_, tick);
    int placed = 0;
    double moved_deg = 0.0;
    while (placed < cam_waiting_ && cam_ticks_[static_cast<std::size_t>(placed)] <= tick) {
        const double since = decoding::ticks_between(last_tick_, cam_ticks_[static_cast<std::size_t>(placed)]);
        ++placed;
        if (cam_.push(from_deg + moved_deg + span_deg * since / period) == decoding::CamPhase::Answer::rotation) {
            rotate(cam_.rotation_deg());
            moved_deg += cam_.rotation_deg();
        }
        if (cam_.half_known() && four_stroke_) sync_.phase = Phase::cam;
    }
    std::copy(cam_ticks_.begin() + placed, cam_ticks_.begin() + cam_waiting_, cam_ticks_.begin());
    cam_waiting_ -= placed;
}

/// The cam says that the count of teeth is off by `deg`.
inline void Decoder::rotate(double deg) noexcept {
    const double tooth_step = 360.0 / wheel_.rotations;
    auto periods = static_cast<int>(deg / tooth_step + 0.5);
    int halves = periods / wheel_.rotations;
    periods -= halves * wheel_.rotations;
    if (periods > 0) {
        if (sync_.synchronised) ++sync_.losses;
        restart_ = true;
        ++revolution_;
        index_ += periods * wheel_.period;
        if (index_ >= wheel_.teeth) {
            index_ -= wheel_.teeth;
            ++halves;
        }
    }
    if (!four_stroke_) {
        cycle_ += halves;
    } else {
        const int sum = half_ + halves;
        half_ = static_cast<std::uint8_t>(sum & 1);
        cycle_ += sum / 2;
    }
}

inline double Decoder::turned_deg() const noexcept {
    const double cycle_deg = four_stroke_ ? 720.0 : 360.0;
    return static_cast<double>(cycle_) * cycle_deg + 360.0 * half_ +
           static_cast<double>(wheel_.angle_deg[static_cast<std::size_t>(index_)]);
}

inline float Decoder::span_of(int jump) const noexcept {
    float sum = 0.0F;
    for (int k = 0, tooth = index_; k < jump; ++k, tooth = wheel_.next(tooth)) sum += wheel_.span(tooth);
    return sum;
}

inline void Decoder::set_phase_from_crank(bool flip) noexcept {
    if (!four_stroke_ || cam_.half_known()) return;
    if (flip) {
        half_ ^= 1U;
        if (half_ == 0) ++cycle_;
    }
    crank_phase_ = true;
    sync_.phase = Phase::crank;
}

static_assert(std::is_trivially_copyable_v<Decoder>);

}  // namespace kurbel
