// The streaming detector: edges and channels in, judged firings out. Joins the stages; each of them is usable alone.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <limits>
#include <memory>
#include <span>
#include <type_traits>

#include "kurbel/core/config.hpp"
#include "kurbel/core/status.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/decision.hpp"
#include "kurbel/stage/decoder.hpp"
#include "kurbel/stage/half_turn.hpp"
#include "kurbel/stage/phase_finder.hpp"
#include "kurbel/stage/segment_roughness.hpp"
#include "kurbel/stage/segmenter.hpp"
#include "kurbel/stage/work_estimator.hpp"

namespace kurbel {

/// Streaming misfire detection for one engine. Push edges (and channel values) in order of time, take events as they
/// come. State is one block without pointers: a copy of the object is a snapshot. Nothing allocates, throws or prints.
/// One object serves one thread at a time; different objects are independent.
template <class Real>
class BasicDetector {
  public:
    BasicDetector() = default;

    /// Checks `config` and makes a detector of it; the status names the parameter that is wrong.
    [[nodiscard]] static Result<BasicDetector> create(const Config& config) noexcept {
        Result<BasicDetector> result;
        result.status = validate(config);
        if (result.status.ok()) result.value.configure(config);
        return result;
    }

    /// One edge. `raw_tick`: the timer's value (wrapping with TimerConfig::bits, else unwrapped ticks).
    /// queue_full: nothing was consumed; take events, then push again. bad_order: after finish().
    Status push_edge(std::int64_t raw_tick, Signal signal) noexcept;

    /// One channel value, valid for the edges that are pushed after it until the next value of this channel. NaN: unknown from here
    /// on; an unknown fuel cut is none. `tick` (unwrapped) tells when it was measured and takes no part: a value that comes late counts
    /// from where it comes, so push it before the first edge it holds for.
    ///
    /// load: relative charge, 0 to 10. fuel_cut and those of one cylinder: 0 to 1, cut above 0.5. coolant_c (-80 to 250) and vehicle_kmh
    /// (0 to 600) take no part in the verdicts; studies over a recording use the coolant. bad_argument: out of range, unknown channel.
    Status push_channel(std::int64_t tick, Channel channel, double value) noexcept {
        static_cast<void>(tick);
        if (finished_) return {StatusCode::bad_order, "push_channel", "not allowed after finish; reset first"};
        const int number = static_cast<int>(channel);
        const int first_cut = static_cast<int>(Channel::fuel_cut_first);
        if (channel == Channel::load) {
            if (value < 0.0 || value > 10.0)
                return {StatusCode::bad_argument, "load", "must lie in 0 to 10, or be NaN"};
            load_ = static_cast<Real>(value);
        } else if (channel == Channel::fuel_cut || (number >= first_cut && number < first_cut + kMaxCylinders)) {
            if (value < 0.0 || value > 1.0)
                return {StatusCode::bad_argument, "fuel_cut", "must lie in 0 to 1, or be NaN"};
            (number >= first_cut ? cut_one_[static_cast<std::size_t>(number - first_cut)] : cut_) = value > 0.5;
            cut_mask_ = cut_mask();
        } else if (channel == Channel::coolant_c) {
            // Limits that find wrong units (kelvin), the same as those of channels.csv.
            if (value < -80.0 || value > 250.0)
                return {StatusCode::bad_argument, "coolant_c", "must lie in -80 to 250, or be NaN"};
        } else if (channel == Channel::vehicle_kmh) {
            if (value < 0.0 || value > 600.0)
                return {StatusCode::bad_argument, "vehicle_kmh", "must lie in 0 to 600, or be NaN"};
        } else {
            return {StatusCode::bad_argument, "channel", "is not known"};
        }
        return {};
    }

    /// Takes the next judged firing; false where none is ready.
    [[nodiscard]] bool next_event(Event& event) noexcept {
        if (queued_ == 0) return false;
        event = queue_[static_cast<std::size_t>(queue_head_)];
        queue_head_ = (queue_head_ + 1) % kQueue;
        --queued_;
        return true;
    }

    /// Ends the stream: releases what is held back. queue_full: take events, then call again.
    Status finish() noexcept;

    /// Forgets everything but the configuration. Made anew in place, so that no stage can keep something learned.
    void reset() noexcept;

    /// Teeth that the last push_edge or finish placed, in order; for studies beside the verdicts. Holds until the next call.
    [[nodiscard]] std::span<const Tooth> last_teeth() const noexcept {
        return {teeth_.data(), static_cast<std::size_t>(teeth_placed_)};
    }

    [[nodiscard]] const SyncState& sync() const noexcept { return decoder_.sync(); }
    [[nodiscard]] const Config& config() const noexcept { return config_; }

    /// How many times the work over inertia there is that geometry, inertia and load were told to make; 1 as long as they are believed. Another
    /// number where the wave of the firings contradicts them by more than any engine's differs (a unit that slipped): then what was told
    /// of sizes is not used, and work in joules is not known.
    [[nodiscard]] double work_over_told() const noexcept { return static_cast<double>(work_.over_told()); }

    /// Engine cycles by which an event can lag its firing: at first, and wherever the engine has to be learned anew, kFirstCycles more
    /// than later on.
    [[nodiscard]] int delay_cycles() const noexcept { return (config_.engine.strokes == 2 ? 3 : 2) + kFirstCycles; }

  private:
    static constexpr int kQueue = 2 * kMaxCylinders;
    static constexpr int kYoungCycles = 20;
    static constexpr std::int64_t kNone = INT64_MIN;

    void configure(const Config& config) noexcept;

    /// While the revolution is not known, each firing may have another it can be mistaken for.
    void find_partners() noexcept {
        symmetric_ = symmetric_under_360(config_.engine);
        for (int place = 0; place < config_.engine.cylinders; ++place) {
            const int partner = mistakable_for(config_.engine, place);
            partner_[static_cast<std::size_t>(place)] =
                partner < 0 ? 0 : config_.engine.firing_order[static_cast<std::size_t>(partner)];
        }
    }

    /// One push completes at most a few firings; it is refused unless those have room.
    [[nodiscard]] bool room() const noexcept { return queued_ <= kQueue - kMaxCylinders; }

    /// Bit n: the cylinder at place n of the firing order has its fuel cut.
    [[nodiscard]] std::uint32_t cut_mask() const noexcept {
        std::uint32_t mask = 0;
        for (int place = 0; place < config_.engine.cylinders; ++place) {
            const auto cylinder =
                static_cast<std::size_t>(config_.engine.firing_order[static_cast<std::size_t>(place)] - 1);
            if (cut_ || cut_one_[cylinder]) mask |= 1U << place;
        }
        return mask;
    }

    /// Where no cam has told the phase and the firing angles allow it, the crank's own motion does. It goes on listening, so
    /// that a contradiction is heard.
    void follow_crank_phase(const Bin<Real>& bin) noexcept {
        if (symmetric_ || (bin.phase_known && decoder_.sync().phase != Phase::crank)) return;
        const int place = place_of(bin.index + bin.turn, bins_);
        phase_finder_.push(place, bin.energy, !bin.restart, cut_mask_);
        using Answer = typename PhaseFinder<Real>::Answer;
        const Answer answer = phase_finder_.answer();
        if (answer == Answer::undecided || (answer == Answer::right && bin.phase_known)) return;
        decoder_.set_phase_from_crank(answer == Answer::flipped);
        phase_finder_.follow();
    }

    void take_tooth(const Tooth& tooth) noexcept {
        segmenter_.push(tooth, [this](const Bin<Real>& bin) { take_bin(bin); });
    }

    void take_bin(const Bin<Real>& bin) noexcept {
        if (first_cycle_ == kNone) first_cycle_ = (bin.index + bin.turn) / bins_;
        last_turn_ = bin.turn;
        if (config_.settings.method == Method::segment_roughness)
            roughness_.push(bin, load_, cut_mask_, bin.phase_known);
        else
            work_.push(bin, load_, cut_mask_, bin.phase_known);
        follow_crank_phase(bin);
        judge_ready(false);
    }

    void judge_ready(bool all) noexcept {
        if (config_.settings.method == Method::segment_roughness) {
            FiringWork<Real> firing;
            while (queued_ < kQueue && roughness_.take(firing, all)) {
                judge(firing, false);
                roughness_.learn();
            }
            return;
        }
        if (work_.rehearses()) rehearse();
        // Most bins complete no firing.
        while (queued_ < kQueue && work_.ready(all)) {
            FiringWork<Real> firing;
            if (!work_.take(firing, decision_.outlook(), all)) return;
            work_.learn(firing, judge(firing, !work_.settled()));
        }
    }

    /// Learns from the firings that waited for the engine to be known; then they come once more, to be judged.
    void rehearse() noexcept {
        if (work_.rehearsals() == 0) decision_.expect(work_.first_findings());
        FiringWork<Real> firing;
        while (work_.rehearses() && work_.take(firing, decision_.outlook()))
            work_.learn(firing, decision_.judge(firing, false, true, phase_missing(firing)).feedback);
    }

    [[nodiscard]] bool phase_missing(const FiringWork<Real>& firing) const noexcept {
        return !firing.phase_known && (!symmetric_ || firing.phase_lost);
    }

    Feedback<Real> judge(const FiringWork<Real>& firing, bool learning) noexcept {
        const Judgement<Real> judged =
            decision_.judge(firing, learning, work_.cycles_learned() < kYoungCycles, phase_missing(firing));
        Event& event = queue_[static_cast<std::size_t>((queue_head_ + queued_++) % kQueue)];
        event = Event{};
        event.time_s = static_cast<double>(firing.tdc_tick) / config_.timer.hz;
        event.cycle = (firing.bin + last_turn_) / bins_ - first_cycle_;
        name_cylinder(firing, event);
        event.speed_rpm = static_cast<double>(firing.speed_rpm);
        event.load = static_cast<double>(firing.load);
        event.verdict = judged.verdict;
        event.reason = judged.reason;
        if (firing.complete) event.acceleration_rad_s2 = static_cast<double>(firing.acceleration);
        if (firing.complete && says_something(judged.reason)) fill_work(firing, judged, event);
        return judged.feedback;
    }

    /// Without combustion, or without knowing which cylinder it is, there is no expected work to measure against; where the wheel was
    /// lost within the firing, what was measured is not all its own.
    [[nodiscard]] static bool says_something(Reason reason) noexcept {
        return reason != Reason::cranking && reason != Reason::fuel_cut && reason != Reason::no_phase &&
               reason != Reason::no_sync;
    }

    void name_cylinder(const FiringWork<Real>& firing, Event& event) const noexcept {
        const int cylinder = config_.engine.firing_order[static_cast<std::size_t>(firing.place)];
        if (firing.phase_known) {
            event.cylinder = cylinder;
            return;
        }
        const int other = partner_[static_cast<std::size_t>(firing.place)];
        event.candidates = other == 0
                               ? std::array<std::int32_t, 2>{cylinder, 0}
                               : std::array<std::int32_t, 2>{std::min(cylinder, other), std::max(cylinder, other)};
    }

    void fill_work(const FiringWork<Real>& firing, const Judgement<Real>& judged, Event& event) const noexcept {
        event.expected_per_inertia = static_cast<double>(firing.expected);
        event.work_per_inertia = static_cast<double>(firing.expected * (Real(1) - judged.severity));
        event.work_se_per_inertia = static_cast<double>(firing.expected * firing.lost_se);
        // NaN where unknown or not believed, and so are the joules.
        const double inertia = work_over_told() == 1.0 ? config_.engine.inertia_kg_m2 : kUnknown;
        event.expected_j = event.expected_per_inertia * inertia;
        event.work_j = event.work_per_inertia * inertia;
        event.work_se_j = event.work_se_per_inertia * inertia;
        event.severity = static_cast<double>(judged.severity);
        event.evidence = static_cast<double>(judged.evidence);
        event.threshold = static_cast<double>(judged.threshold);
        event.probability = static_cast<double>(judged.probability);
    }

    Config config_{};
    int bins_ = 1;  // of an engine cycle
    Decoder decoder_{};
    Segmenter<Real> segmenter_{};
    WorkEstimator<Real> work_{};
    SegmentRoughness<Real> roughness_{};
    Decision<Real> decision_{};
    PhaseFinder<Real> phase_finder_{};
    bool symmetric_ = false;
    bool finished_ = false;
    bool cut_ = false;
    int last_turn_ = 0;
    int queued_ = 0;
    int queue_head_ = 0;
    int teeth_placed_ = 0;
    Real load_ = std::numeric_limits<Real>::quiet_NaN();
    std::int64_t first_cycle_ = kNone;
    std::array<bool, kMaxCylinders> cut_one_{};
    std::uint32_t cut_mask_ = 0;                // of both
    std::array<int, kMaxCylinders> partner_{};  // number of the cylinder it can be mistaken for, 0 = none; by place
    // Scratch: clearing it anew for each edge would cost more than the decoder.
    std::array<Tooth, kMaxTeethPerPush> teeth_{};
    std::array<Event, kQueue> queue_{};
};

// Outside of the class, and so not inline: who links the compiled library does not compile them once more.

template <class Real>
Status BasicDetector<Real>::push_edge(std::int64_t raw_tick, Signal signal) noexcept {
    if (finished_) return {StatusCode::bad_order, "push_edge", "not allowed after finish; reset first"};
    if (!room()) return {StatusCode::queue_full, "push_edge", "take events, then push again"};
    const int placed = teeth_placed_ = decoder_.push(raw_tick, signal, teeth_.data());
    for (int i = 0; i < placed; ++i) take_tooth(teeth_[static_cast<std::size_t>(i)]);
    return {};
}

template <class Real>
Status BasicDetector<Real>::finish() noexcept {
    if (!finished_) {
        if (!room()) return {StatusCode::queue_full, "finish", "take events, then call again"};
        teeth_placed_ = decoder_.finish(teeth_.data());
        for (int i = 0; i < teeth_placed_; ++i) take_tooth(teeth_[static_cast<std::size_t>(i)]);
        work_.settle();
        if (work_.rehearses()) rehearse();
        work_.finish();
        finished_ = true;
    }
    judge_ready(true);
    return queued_ == kQueue ? Status{StatusCode::queue_full, "finish", "take events, then call again"} : Status{};
}

template <class Real>
void BasicDetector<Real>::reset() noexcept {
    const Config config = config_;
    std::construct_at(this);
    configure(config);
}

template <class Real>
void BasicDetector<Real>::configure(const Config& config) noexcept {
    config_ = config;
    const CycleGrid grid = make_cycle_grid(config.engine, config.crank_wheel);
    bins_ = grid.bins;
    decoder_.configure(config);
    segmenter_.configure(config, grid);
    work_.configure(config, grid);
    roughness_.configure(config, grid);
    decision_.configure(config);
    phase_finder_.configure(config, grid.bins);
    find_partners();
}

using Detector = BasicDetector<double>;
using DetectorF = BasicDetector<float>;

static_assert(std::is_trivially_copyable_v<Detector> && std::is_trivially_copyable_v<DetectorF>);

#if defined(KURBEL_COMPILED)
// Who links the compiled library finds both detectors in it, and need not wait for them to be compiled once more.
extern template class BasicDetector<double>;
extern template class BasicDetector<float>;
#endif

}  // namespace kurbel
