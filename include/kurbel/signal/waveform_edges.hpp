// From a sensor's sampled voltage to the times of its edges.
//
// Samples go up a pyramid of octaves (octaves.hpp), one of which tells waves from noise best (level.hpp). There each crossing of the middle is
// timed on its own slope (crossing_time.hpp), so that the bandwidth of the noise follows the slope's length, from 20 kHz to 10 MHz and
// from cranking to top speed. What the edges tell of wiring and range is kept beside (waveform_findings.hpp).
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <type_traits>

#include "kurbel/core/status.hpp"
#include "kurbel/signal/converter_watch.hpp"
#include "kurbel/signal/crossing_time.hpp"
#include "kurbel/signal/edge_queue.hpp"
#include "kurbel/signal/hum_filter.hpp"
#include "kurbel/signal/level.hpp"
#include "kurbel/signal/octaves.hpp"
#include "kurbel/signal/waveform_findings.hpp"
#include "kurbel/signal/waveform_types.hpp"

namespace kurbel::signal {

/// Edges of one channel, crank or cam, sample by sample. Every way of cutting the samples into blocks gives the same bits.
///
/// Kind of sensor and flank are found from the first teeth, and edges are held back until then. `rewind` goes back to the
/// start with what was learned: who has the beginning at hand pushes it twice and loses nothing of it
/// (read/edges_from_waveform.hpp does). State is one block without pointers; nothing allocates, throws or prints; one object
/// serves one thread at a time.
template <class Real>
class BasicWaveformEdges {
  public:
    BasicWaveformEdges() = default;

    /// Checks `settings`; the status names what is wrong.
    [[nodiscard]] static Result<BasicWaveformEdges> create(const WaveformSettings& settings) noexcept {
        Result<BasicWaveformEdges> result;
        result.status = validate(settings);
        if (result.status.ok()) result.value.configure(settings);
        return result;
    }

    /// Takes samples until `count` is reached or the queue of edges is full; returns how many it took. Take edges, then push
    /// the rest. A sample that is no number counts as the one before.
    template <class Sample>
    [[nodiscard]] std::size_t push(const Sample* samples, std::size_t count) noexcept {
        static_assert(std::is_arithmetic_v<Sample>);
        std::size_t taken = 0;
        while (taken < count && (queue_.holding() || queue_.size() < EdgeQueue::kRoom - kMargin))
            push_one(static_cast<Real>(samples[taken++]) * scale_);
        return taken;
    }

    /// Takes the oldest edge that waits; false where there is none (yet).
    [[nodiscard]] bool next_edge(WaveformEdge& edge) noexcept { return queue_.take(edge); }

    /// The stream ends: what is held back is given out by next_edge. No push afterwards, but rewind.
    void finish() noexcept {
        serve(true);
        if (undecided()) decide();
    }

    /// Back to sample 0 with everything that was learned.
    void rewind() noexcept;

    /// What was found so far.
    [[nodiscard]] WaveformReport report() const noexcept;

    [[nodiscard]] const WaveformSettings& settings() const noexcept { return settings_; }

  private:
    static constexpr int kMargin = 32;  ///< edges that one sample can bring

    void configure(const WaveformSettings& settings) noexcept;
    void push_one(Real x) noexcept;
    void activate(int level) noexcept;
    void serve(bool all) noexcept;
    void emit(const Level<Real>& level, const Crossing<Real>& crossing, const CrossingTime<Real>& time) noexcept;
    void find_faults(const Level<Real>& level, double tooth, WaveformReport& report) const noexcept;
    [[nodiscard]] double samples_of_active(double own) const noexcept {
        return Octaves<Real>::samples_of(octaves_.active(), own);
    }
    void decide() noexcept;
    [[nodiscard]] bool undecided() const noexcept { return queue_.holding() || kind_ == SensorKind::automatic; }
    void set_kind(SensorKind kind) noexcept;

    WaveformSettings settings_{};
    CrossingTimer<Real> timer_{};
    HumFilter<Real> hum_{};
    ConverterWatch<Real> watch_{};
    EdgeQueue queue_{};
    Octaves<Real> octaves_{};
    WaveformFindings findings_{};
    Real scale_ = 1;
    Real last_ = 0;
    std::int64_t samples_ = 0;
    std::int64_t bad_ = 0;
    std::int64_t next_ = 1;  ///< crossing of the active level to be timed next
    SensorKind kind_ = SensorKind::automatic;
    double last_edge_ = -1.0;  ///< sample of the last edge
    bool last_rises_ = false;
};

using WaveformEdges = BasicWaveformEdges<double>;

template <class Real>
void BasicWaveformEdges<Real>::configure(const WaveformSettings& settings) noexcept {
    *this = BasicWaveformEdges{};
    settings_ = settings;
    scale_ = static_cast<Real>(settings.scale);
    timer_.configure();
    hum_.configure(settings.rate_hz);
    queue_.configure(settings.flank);
    octaves_.reset();
    set_kind(settings.kind);
}

template <class Real>
void BasicWaveformEdges<Real>::rewind() noexcept {
    if (undecided()) decide();
    octaves_.rewind();
    findings_.rewind();
    hum_.rewind();
    watch_ = ConverterWatch<Real>{};
    queue_.rewind();
    samples_ = 0;
    bad_ = 0;
    next_ = 1;
    last_edge_ = -1.0;
}

template <class Real>
void BasicWaveformEdges<Real>::set_kind(SensorKind kind) noexcept {
    kind_ = kind;
    // Before two levels hum means nothing.
    hum_.allow(kind == SensorKind::inductive);
    octaves_.set_zero_based(kind == SensorKind::inductive);
}

template <class Real>
void BasicWaveformEdges<Real>::push_one(Real x) noexcept {
    if (!std::isfinite(x)) {
        ++bad_;
        x = last_;
    }
    last_ = x;
    watch_.push(x);
    x = hum_.push(x);
    ++samples_;
    const bool news = octaves_.push(x);
    if ((samples_ & 63) == 0) {
        octaves_.set_limits(std::max(watch_.flicker(), static_cast<Real>(settings_.least_swing)),
                            watch_.clipped_share() > 0.1);
        if (const int best = octaves_.choose(); best != octaves_.active()) activate(best);
    }
    if (news && octaves_.active() >= 0) serve(false);
}

template <class Real>
void BasicWaveformEdges<Real>::activate(int level) noexcept {
    octaves_.activate(level);
    const Level<Real>& now = octaves_[level];
    // What the level before has not timed is timed here, nothing twice.
    next_ = now.oldest_crossing();
    const double guard = last_edge_ + 0.25 * Octaves<Real>::samples_of(level, static_cast<double>(now.slope()));
    const double tooth = Octaves<Real>::samples_of(level, static_cast<double>(now.interval()));
    const auto timed = [&](const Crossing<Real>& crossing) {
        const double sample = Octaves<Real>::samples_of(level, static_cast<double>(crossing.index));
        // The levels have middles of their own, so that on a slope with a notch they see one crossing at two places; but between
        // two that rise one must fall.
        const bool again = last_edge_ >= 0.0 && crossing.rising == last_rises_;
        return sample <= guard || (again && sample <= last_edge_ + 0.5 * tooth);
    };
    while (next_ <= now.crossings() && timed(now.crossing(next_))) ++next_;
    hum_.set_tooth_hz(tooth > 0.0 ? settings_.rate_hz / tooth : 0.0);
}

template <class Real>
void BasicWaveformEdges<Real>::serve(bool all) noexcept {
    if (octaves_.active() < 0) return;
    const Level<Real>& level = *octaves_.active_level();
    next_ = std::max(next_, level.oldest_crossing());
    for (; next_ <= level.crossings(); ++next_) {
        const Crossing<Real>& crossing = level.crossing(next_);
        const std::int64_t wait = CrossingTimer<Real>::samples_behind(level);
        if (!all && level.count() <= crossing.index + wait) return;
        if (CrossingTimer<Real>::ends_too_soon(level, crossing)) return;
        emit(level, crossing, timer_.time(level, crossing, std::min(level.count() - 1, crossing.index + wait)));
    }
}

template <class Real>
void BasicWaveformEdges<Real>::emit(const Level<Real>& level, const Crossing<Real>& crossing,
                                    const CrossingTime<Real>& time) noexcept {
    const SlopeFit<Real>& fit = time.fit;
    const double width = samples_of_active(1.0);
    const double own = static_cast<double>(crossing.index) + static_cast<double>(fit.place);
    const double sample = own * width + 0.5 * (width - 1.0);
    if (!(sample > last_edge_ && sample < static_cast<double>(samples_))) return;
    const double tooth = width * static_cast<double>(level.interval());
    const double slope_samples = static_cast<double>(time.slope_samples) * width;
    WaveformEdge edge;
    edge.time_s = sample / settings_.rate_hz;
    const double whole = std::floor(sample);
    edge.tick = settings_.first_tick +
                static_cast<std::int64_t>(std::llround(whole * (settings_.tick_hz / settings_.rate_hz) +
                                                       (sample - whole) * (settings_.tick_hz / settings_.rate_hz)));
    edge.flank = crossing.rising ? Flank::rising : Flank::falling;
    edge.swing = static_cast<float>(std::fabs(time.after - crossing.before));
    edge.slope_per_s = static_cast<float>(static_cast<double>(fit.slope) * settings_.rate_hz / width);
    const double noise = static_cast<double>(fit.residual);
    const double steep = std::fabs(static_cast<double>(fit.slope));
    if (fit.ok && steep > 0.0) {
        edge.std_error_s = static_cast<float>(noise * static_cast<double>(time.fine ? Real(1) : fit.gain) / steep *
                                              width / settings_.rate_hz);
        const double high = std::min(1.0, static_cast<double>(edge.swing) / (0.6 * static_cast<double>(level.swing())));
        const double rough = static_cast<double>(fit.residual) / (0.05 * static_cast<double>(edge.swing) + 1e-30);
        edge.quality = static_cast<float>(high / (1.0 + rough * rough));
    }
    findings_.add({sample, crossing.rising, static_cast<double>(fit.residual * fit.residual) * width, slope_samples,
                   static_cast<double>(crossing.middle), tooth});
    if (!crossing.rising) watch_.end_wave(level.swing());
    last_edge_ = sample;
    last_rises_ = crossing.rising;
    if ((findings_.timed() & 15) == 0 && tooth > 0.0) {
        hum_.set_tooth_hz(settings_.rate_hz / tooth);
        // A clamp makes slow lines of every change of height.
        hum_.allow(kind_ == SensorKind::inductive && !level.lopsided());
    }
    queue_.push(edge, tooth > 0.0 && fit.ok ? slope_samples / tooth : kUnknown);
    if (!undecided()) return;
    const bool long_enough = sample > 2.0 * settings_.rate_hz && queue_.size() >= 16;
    if (queue_.enough() || long_enough || queue_.size() >= EdgeQueue::kRoom - kMargin) decide();
}

/// Kind and flank, by what was seen so far.
template <class Real>
void BasicWaveformEdges<Real>::decide() noexcept {
    const Level<Real>* level = octaves_.active_level();
    if (level == nullptr) return;
    if (kind_ == SensorKind::automatic) set_kind(level->two_levels() ? SensorKind::digital : SensorKind::inductive);
    queue_.choose(queue_.better(kind_ == SensorKind::digital ? Flank::rising : Flank::falling));
}

template <class Real>
WaveformReport BasicWaveformEdges<Real>::report() const noexcept {
    WaveformReport report;
    report.samples = samples_;
    report.bad_samples = bad_;
    report.edges = queue_.given();
    report.dropouts = findings_.dropouts();
    report.noise = static_cast<double>(octaves_[0].noise());
    if (bad_ > 0) report.add(Finding::bad_samples);
    const Level<Real>* level = octaves_.active_level();
    if (level == nullptr || findings_.timed() < 3) {
        report.add(Finding::no_signal);
        return report;
    }
    const double tooth = samples_of_active(1.0) * static_cast<double>(level->interval());
    report.kind = kind_;
    report.flank = queue_.chosen();
    report.flank_sure = queue_.sure();
    report.swing = static_cast<double>(level->swing());
    report.middle = static_cast<double>(level->middle());
    if (octaves_.active() == Octaves<Real>::kFast || tooth < 24.0) report.noise = findings_.noise();
    report.snr_db = 10.0 * std::log10(report.swing * report.swing / 8.0 / (report.noise * report.noise));
    if (tooth > 0.0) report.tooth_hz = settings_.rate_hz / tooth;
    report.slope_samples = findings_.slope_samples();
    report.hum = hum_.amplitude();
    if (hum_.active()) report.hum_hz = hum_.hz();
    report.steps = watch_.step() > 0 ? report.swing / static_cast<double>(watch_.step()) : kUnknown;
    if (kind_ != SensorKind::digital) report.clipped_share = watch_.clipped_share();
    find_faults(*level, tooth, report);
    return report;
}

/// What looks wrong in waves `tooth` samples apart.
template <class Real>
void BasicWaveformEdges<Real>::find_faults(const Level<Real>& level, double tooth,
                                           WaveformReport& report) const noexcept {
    if (kind_ != SensorKind::digital) {
        // Heights of a few converter steps that come and go without rule are the standing sensor's noise.
        if (report.steps < 32.0 && level.regular() < Real(0.5)) report.add(Finding::no_signal);
        if (report.clipped_share > 0.25) report.add(Finding::clipped);
        if (report.steps < 32.0) report.add(Finding::too_small);
    }
    // Noise in a slope of so many samples, as share of the distance between teeth.
    const double moved = report.noise / report.swing * std::sqrt(std::max(report.slope_samples, 1.0));
    if (tooth > 0.0 && moved / tooth > 1e-3) report.add(Finding::noisy);
    if (hum_.active()) report.add(Finding::hum);
    if (tooth > 0.0 && tooth < 5.0) report.add(Finding::undersampled);
    if (report.dropouts > 0) report.add(Finding::dropouts);
    if (findings_.drift() > 0.25 * report.swing) report.add(Finding::drift);
    if (queue_.told() != Flank::automatic && queue_.sure() && queue_.better(queue_.told()) != queue_.told())
        report.add(Finding::inverted);
    if (settings_.kind == SensorKind::inductive && level.two_levels() && report.clipped_share < 0.25)
        report.add(Finding::kind_mistaken);
    if (settings_.kind == SensorKind::digital && level.dwell() < Real(0.6) && report.slope_samples > 3.0)
        report.add(Finding::kind_mistaken);
}

}  // namespace kurbel::signal
