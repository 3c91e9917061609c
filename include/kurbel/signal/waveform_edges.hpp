// From a sensor's sampled voltage to the times of its edges.
//
// Samples go up a pyramid of octaves (level.hpp). On each octave waves are told from noise by their turning points; the finest
// octave on which they stand clear, and on which a slope spans a handful of samples, is the active one. There a crossing is
// timed by a cubic through all samples of its slope (slope_fit.hpp), so that the bandwidth of the noise follows the slope's length, from
// 20 kHz to 10 MHz and from cranking to top speed. Where a slope spans fewer samples than the fit needs, values between the
// samples come from band-limited interpolation.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <type_traits>

#include "kurbel/core/status.hpp"
#include "kurbel/signal/band_limited.hpp"
#include "kurbel/signal/converter_watch.hpp"
#include "kurbel/signal/edge_queue.hpp"
#include "kurbel/signal/hum_filter.hpp"
#include "kurbel/signal/level.hpp"
#include "kurbel/signal/slope_fit.hpp"
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
    static constexpr int kLevels = 18;  ///< the coarsest averages 131072 samples
    static constexpr int kMargin = 32;  ///< edges that one sample can bring
    static constexpr int kGrid = 129;
    static constexpr int kReach = 40;               ///< samples on either side of a crossing that a fit may look at
    static constexpr int kFineReach = 8;            ///< the same between samples
    static constexpr Real kFewSamples = Real(3);    ///< a slope shorter than this needs values between the samples
    static constexpr Real kManySamples = Real(12);  ///< a slope longer than this is timed an octave up
    static constexpr Real kWindow = Real(2.2);      ///< half width of the fit over the distance between half heights

    void configure(const WaveformSettings& settings) noexcept;
    void push_one(Real x) noexcept;
    void choose_level() noexcept;
    void activate(int level) noexcept;
    void serve(bool all) noexcept;
    void place(const Level<Real>& level, const Crossing<Real>& crossing, std::int64_t last_sample) noexcept;
    void emit(double sample, const Level<Real>& level, const Crossing<Real>& crossing, const SlopeFit<Real>& fit,
              Real after, Real slope_samples, bool fine) noexcept;
    void decide() noexcept;
    [[nodiscard]] bool undecided() const noexcept { return queue_.holding() || kind_ == SensorKind::automatic; }
    void set_kind(SensorKind kind) noexcept;

    /// kFast is the octave 0 without the noise's say, for waves of few samples.
    static constexpr int kFast = kLevels;
    [[nodiscard]] int octave(int level) const noexcept { return level == kFast ? 0 : level; }
    [[nodiscard]] double samples_of(int level, double own) const noexcept {
        const double width = static_cast<double>(std::int64_t{1} << octave(level));
        return own * width;
    }
    [[nodiscard]] const Level<Real>* active() const noexcept {
        return active_ < 0 ? nullptr : &level_[static_cast<std::size_t>(active_)];
    }

    WaveformSettings settings_{};
    BandLimited<Real> between_{};
    HumFilter<Real> hum_{};
    ConverterWatch<Real> watch_{};
    EdgeQueue queue_{};
    std::array<Level<Real>, kLevels + 1> level_{};
    std::array<Real, kLevels> half_{};  ///< first of a pair that waits for the second
    std::array<bool, kLevels> has_half_{};
    Real scale_ = 1;
    Real last_ = 0;
    std::int64_t samples_ = 0;
    std::int64_t bad_ = 0;
    std::int64_t next_ = 1;  ///< crossing of the active level to be timed next
    std::int32_t active_ = -1;
    SensorKind kind_ = SensorKind::automatic;
    // Statistics for the report.
    double last_edge_ = -1.0;  ///< sample of the last edge
    bool last_rises_ = false;
    std::array<double, 2> last_flank_{-1, -1};  ///< of the last falling and rising one
    double residual_ = 0.0;                     ///< mean square of what fits leave, as noise of a raw sample
    double lowest_middle_ = 0.0;
    double highest_middle_ = 0.0;
    double before_silence_ = 0.0;  ///< tooth distance before a silence that is not yet explained
    double slope_samples_ = 0.0;
    std::int64_t timed_ = 0;
    std::int64_t dropouts_ = 0;
};

using WaveformEdges = BasicWaveformEdges<double>;

template <class Real>
void BasicWaveformEdges<Real>::configure(const WaveformSettings& settings) noexcept {
    *this = BasicWaveformEdges{};
    settings_ = settings;
    scale_ = static_cast<Real>(settings.scale);
    between_.configure();
    hum_.configure(settings.rate_hz);
    queue_.configure(settings.flank);
    for (int i = 0; i <= kLevels; ++i) level_[static_cast<std::size_t>(i)].reset(i != kFast);
    set_kind(settings.kind);
}

template <class Real>
void BasicWaveformEdges<Real>::rewind() noexcept {
    if (undecided()) decide();
    for (Level<Real>& level : level_) level.rewind();
    has_half_ = {};
    hum_.rewind();
    watch_ = ConverterWatch<Real>{};
    queue_.rewind();
    samples_ = 0;
    bad_ = 0;
    next_ = 1;
    last_edge_ = -1.0;
    last_flank_ = {-1, -1};
    timed_ = 0;
    dropouts_ = 0;
    before_silence_ = 0.0;
}

template <class Real>
void BasicWaveformEdges<Real>::set_kind(SensorKind kind) noexcept {
    kind_ = kind;
    // Before two levels hum means nothing.
    hum_.allow(kind == SensorKind::inductive);
    for (Level<Real>& level : level_) level.set_zero_based(kind == SensorKind::inductive);
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
    const bool fast_news = level_[kFast].push(x);
    bool news = active_ == kFast || fast_news;
    for (int i = 0; i < kLevels; ++i) {
        const auto at = static_cast<std::size_t>(i);
        if (level_[at].push(x) || i == active_) news = true;
        if (!has_half_[at]) {
            half_[at] = x;
            has_half_[at] = true;
            break;
        }
        x = Real(0.5) * (half_[at] + x);
        has_half_[at] = false;
    }
    if ((samples_ & 63) == 0) {
        const Real floor = std::max(watch_.flicker(), static_cast<Real>(settings_.least_swing));
        for (Level<Real>& level : level_) {
            level.set_floor(floor);
            level.set_cut(watch_.clipped_share() > 0.1 || level.lopsided());
        }
        choose_level();
    }
    if (news && active_ >= 0) serve(false);
}

/// The level whose slopes span a handful of samples, among those on which the waves stand clear of the noise.
template <class Real>
void BasicWaveformEdges<Real>::choose_level() noexcept {
    const Level<Real>& fast = level_[kFast];
    Real highest_clear = 0;
    for (int i = 0; i < kLevels; ++i) {
        const Level<Real>& level = level_[static_cast<std::size_t>(i)];
        if (level.alive() && level.clear()) highest_clear = std::max(highest_clear, level.swing());
    }
    int best = -1;
    // Waves of few samples: regular, and higher than anything slower that they may be the noise upon.
    if (fast.alive() && fast.regular() > Real(0.72) && fast.interval() < Real(32) &&
        fast.swing() > Real(0.6) * highest_clear) {
        best = kFast;
    } else {
        // Spikes stand clear as well; teeth are more frequent than they.
        double most = 0.0;
        for (int i = 0; i < kLevels; ++i) {
            const Level<Real>& level = level_[static_cast<std::size_t>(i)];
            if (!level.alive() || !level.clear() || !(level.interval() > 0)) continue;
            most = std::max(most, 1.0 / samples_of(i, static_cast<double>(level.interval())));
        }
        for (int i = 0; i < kLevels && best < 0 && most > 0.0; ++i) {
            const Level<Real>& level = level_[static_cast<std::size_t>(i)];
            if (!level.alive() || !level.clear() || !(level.interval() > 0)) continue;
            if (1.0 / samples_of(i, static_cast<double>(level.interval())) > 0.7 * most) best = i;
        }
        // Nothing is clear: the waves that stand highest above the noise, if they come as regularly as teeth.
        Real highest = 12;
        for (int i = 0; i < kLevels && most == 0.0; ++i) {
            const Level<Real>& level = level_[static_cast<std::size_t>(i)];
            if (!level.alive() || level.regular() < Real(0.72) || !(level.swing() > highest * level.noise())) continue;
            highest = level.swing() / level.noise();
            best = i;
        }
        while (best >= 0 && best + 1 < kLevels && level_[static_cast<std::size_t>(best)].slope() > kManySamples &&
               level_[static_cast<std::size_t>(best + 1)].alive())
            ++best;
    }
    if (best < 0 || best == active_) return;
    // Two neighbours may do equally well: no need to change.
    if (active_ >= 0 && active_ != kFast && best != kFast) {
        const Level<Real>& now = level_[static_cast<std::size_t>(active_)];
        const bool fits = now.slope() > Real(0.45) * kManySamples && now.slope() < Real(1.25) * kManySamples;
        if (now.alive() && now.clear() && fits) return;
    }
    activate(best);
}

template <class Real>
void BasicWaveformEdges<Real>::activate(int level) noexcept {
    active_ = level;
    const Level<Real>& now = level_[static_cast<std::size_t>(level)];
    // What the level before has not timed is timed here, nothing twice.
    next_ = now.oldest_crossing();
    const double guard = last_edge_ + 0.25 * samples_of(level, static_cast<double>(now.slope()));
    const double tooth = samples_of(level, static_cast<double>(now.interval()));
    const auto timed = [&](const Crossing<Real>& crossing) {
        const double sample = samples_of(level, static_cast<double>(crossing.index));
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
    if (active_ < 0) return;
    const Level<Real>& level = level_[static_cast<std::size_t>(active_)];
    next_ = std::max(next_, level.oldest_crossing());
    for (; next_ <= level.crossings(); ++next_) {
        const Crossing<Real>& crossing = level.crossing(next_);
        const auto window = static_cast<std::int64_t>(Real(2.5) * level.slope()) + 2;
        const std::int64_t wait = std::clamp<std::int64_t>(window, BandLimited<Real>::kHalf + kFineReach + 1, kReach);
        if (!all && level.count() <= crossing.index + wait) return;
        // Waves of few samples cannot be followed between them where those behind are missing: the stream's last edges would stand off by
        // a tenth of a sample, and are not given.
        if (level.interval() < 2 * kFewSamples && level.count() <= crossing.index + BandLimited<Real>::kHalf) return;
        place(level, crossing, std::min(level.count() - 1, crossing.index + wait));
    }
}

template <class Real>
void BasicWaveformEdges<Real>::place(const Level<Real>& level, const Crossing<Real>& crossing,
                                     std::int64_t last_sample) noexcept {
    std::array<Real, kGrid> grid;
    const auto sample = [&](std::int64_t index) { return level.sample(index); };
    Real slope_samples = level.slope();
    SlopeFit<Real> fit;
    Real after = crossing.middle;
    // Positions count from the crossing's own sample.
    Real guess = 0;
    bool interpolated = false;
    for (int attempt = 0; attempt < 2 && !fit.ok; ++attempt) {
        const bool fine = attempt == 1 || slope_samples < kFewSamples || level.interval() < 6 * kFewSamples;
        interpolated = fine;
        const int steps = fine ? BandLimited<Real>::kSteps : 1;
        const Real spacing = Real(1) / static_cast<Real>(steps);
        const auto ahead = static_cast<int>(last_sample - crossing.index);
        const int from = fine ? -kFineReach : -kReach;
        const int to = fine ? std::min(ahead, kFineReach - 1) : ahead;
        int count = 0;
        for (int i = from; i <= to; ++i)
            for (int step = 0; step < steps && count < kGrid; ++step)
                grid[static_cast<std::size_t>(count++)] =
                    fine ? between_.at(crossing.index + i, step, sample) : level.sample(crossing.index + i);
        const auto first = static_cast<Real>(from);
        const Real sign = crossing.rising ? Real(1) : Real(-1);
        const auto height = [&](int i) { return sign * (grid[static_cast<std::size_t>(i)] - crossing.middle); };
        // The crossing on this grid nearest to the recorded one.
        int at = -from * steps;
        while (at < count - 1 && height(at) < 0) ++at;
        while (at > 0 && height(at - 1) >= 0) --at;
        if (at <= 0 || at >= count) continue;
        const Real rise = height(at) - height(at - 1);
        guess = first + spacing * (static_cast<Real>(at) -
                                   (rise > 0 ? std::clamp(height(at) / rise, Real(0), Real(1)) : Real(0)));
        // Half heights on either side, of the lower of the two half-waves.
        Real top = 0;
        int peak = at;
        for (int i = at; i < count; ++i) {
            if (height(i) > top) {
                top = height(i);
                peak = i;
            } else if (height(i) < Real(0.5) * top) {
                break;
            }
        }
        after = crossing.middle + sign * top;
        const Real half = Real(0.5) * std::min(top, std::fabs(crossing.before - crossing.middle));
        int right = at;
        while (right < peak && height(right) < half) ++right;
        int left = at - 1;
        while (left > 0 && height(left) > -half) --left;
        const auto between = [&](int low, Real target) {
            const Real step_height = height(low + 1) - height(low);
            return static_cast<Real>(low) + (step_height > 0 ? (target - height(low)) / step_height : Real(0.5));
        };
        if (height(left) <= -half && height(right) >= half && right > left + 1)
            slope_samples = spacing * (between(right - 1, half) - between(left, -half));
        Real half_width = std::max(kWindow * slope_samples, Real(0.75));
        // A window that ends on one side alone would pull the crossing there.
        half_width = std::min(half_width, static_cast<Real>((fine ? kFineReach : kReach) - 1));
        if (!fine && half_width < Real(3)) continue;
        fit = fit_slope(grid.data(), count, first, spacing, guess, half_width, crossing.middle);
        if (fine) break;
    }
    // A crossing lies on its own slope. Where one is hardly there, of a faint tooth beside the gap, a fit that follows the neighbour's would
    // stand beyond the next crossing, and that one would be lost.
    if (!fit.ok || !(std::fabs(fit.place - guess) < std::max(slope_samples, level.slope()))) {
        fit.ok = false;
        fit.place = guess;
        fit.slope = 0;
    }
    const double width = samples_of(active_, 1.0);
    const double own = static_cast<double>(crossing.index) + static_cast<double>(fit.place);
    emit(own * width + 0.5 * (width - 1.0), level, crossing, fit, after, slope_samples, interpolated);
}

template <class Real>
void BasicWaveformEdges<Real>::emit(double sample, const Level<Real>& level, const Crossing<Real>& crossing,
                                    const SlopeFit<Real>& fit, Real after, Real slope_samples, bool fine) noexcept {
    if (!(sample > last_edge_ && sample < static_cast<double>(samples_))) return;
    const double width = samples_of(active_, 1.0);
    const double tooth = width * static_cast<double>(level.interval());
    WaveformEdge edge;
    edge.time_s = sample / settings_.rate_hz;
    const double whole = std::floor(sample);
    edge.tick = settings_.first_tick +
                static_cast<std::int64_t>(std::llround(whole * (settings_.tick_hz / settings_.rate_hz) +
                                                       (sample - whole) * (settings_.tick_hz / settings_.rate_hz)));
    edge.flank = crossing.rising ? Flank::rising : Flank::falling;
    edge.swing = static_cast<float>(std::fabs(after - crossing.before));
    edge.slope_per_s = static_cast<float>(static_cast<double>(fit.slope) * settings_.rate_hz / width);
    const double noise = static_cast<double>(fit.residual);
    const double steep = std::fabs(static_cast<double>(fit.slope));
    if (fit.ok && steep > 0.0) {
        edge.std_error_s = static_cast<float>(noise * static_cast<double>(fine ? Real(1) : fit.gain) / steep * width /
                                              settings_.rate_hz);
        const double high = std::min(1.0, static_cast<double>(edge.swing) / (0.6 * static_cast<double>(level.swing())));
        const double rough = static_cast<double>(fit.residual) / (0.05 * static_cast<double>(edge.swing) + 1e-30);
        edge.quality = static_cast<float>(high / (1.0 + rough * rough));
    }
    // Report.
    ++timed_;
    const double memory = 1.0 / static_cast<double>(std::min<std::int64_t>(timed_, 256));
    residual_ += memory * (static_cast<double>(fit.residual * fit.residual) * width - residual_);
    slope_samples_ += memory * (static_cast<double>(slope_samples) * width - slope_samples_);
    const auto middle = static_cast<double>(crossing.middle);
    if (timed_ <= 32) lowest_middle_ = highest_middle_ = middle;
    lowest_middle_ = std::min(lowest_middle_, middle);
    highest_middle_ = std::max(highest_middle_, middle);
    if (!crossing.rising) watch_.end_wave(level.swing());
    const std::size_t side = crossing.rising ? 1U : 0U;
    const double since = last_flank_[side] >= 0.0 ? sample - last_flank_[side] : 0.0;
    if (side == 0 && since > 0.0) {
        if (before_silence_ > 0.0) {
            if (since < 2.0 * before_silence_) ++dropouts_;
            before_silence_ = 0.0;
        } else if (timed_ > 16 && since > 8.0 * tooth) {
            before_silence_ = tooth;
        }
    }
    last_flank_[side] = sample;
    last_edge_ = sample;
    last_rises_ = crossing.rising;
    if ((timed_ & 15) == 0 && tooth > 0.0) {
        hum_.set_tooth_hz(settings_.rate_hz / tooth);
        // A clamp makes slow lines of every change of height.
        hum_.allow(kind_ == SensorKind::inductive && !level.lopsided());
    }
    queue_.push(edge, tooth > 0.0 && fit.ok ? static_cast<double>(slope_samples) * width / tooth : kUnknown);
    if (!undecided()) return;
    const bool long_enough = sample > 2.0 * settings_.rate_hz && queue_.size() >= 16;
    if (queue_.enough() || long_enough || queue_.size() >= EdgeQueue::kRoom - kMargin) decide();
}

/// Kind and flank, by what was seen so far.
template <class Real>
void BasicWaveformEdges<Real>::decide() noexcept {
    const Level<Real>* level = active();
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
    report.dropouts = dropouts_;
    const auto add = [&](Finding finding) { report.findings |= static_cast<std::uint32_t>(finding); };
    if (bad_ > 0) add(Finding::bad_samples);
    report.noise = static_cast<double>(level_[0].noise());
    const Level<Real>* level = active();
    if (level == nullptr || timed_ < 3) {
        add(Finding::no_signal);
        return report;
    }
    const double width = samples_of(active_, 1.0);
    const double tooth = width * static_cast<double>(level->interval());
    report.kind = kind_;
    report.flank = queue_.chosen();
    report.flank_sure = queue_.sure();
    report.swing = static_cast<double>(level->swing());
    report.middle = static_cast<double>(level->middle());
    if (active_ == kFast || tooth < 24.0) report.noise = std::sqrt(residual_);
    report.snr_db = 10.0 * std::log10(report.swing * report.swing / 8.0 / (report.noise * report.noise));
    if (tooth > 0.0) report.tooth_hz = settings_.rate_hz / tooth;
    report.slope_samples = slope_samples_;
    report.hum = hum_.amplitude();
    if (hum_.active()) report.hum_hz = hum_.hz();
    report.steps = watch_.step() > 0 ? report.swing / static_cast<double>(watch_.step()) : kUnknown;
    const bool coil = kind_ != SensorKind::digital;
    if (coil) report.clipped_share = watch_.clipped_share();
    // Heights of a few converter steps that come and go without rule are the standing sensor's noise.
    if (report.steps < 32.0 && coil && level->regular() < Real(0.5)) add(Finding::no_signal);
    if (coil && report.clipped_share > 0.25) add(Finding::clipped);
    if (coil && report.steps < 32.0) add(Finding::too_small);
    // Noise in a slope of so many samples, as share of the distance between teeth.
    const double moved = report.noise / report.swing * std::sqrt(std::max(slope_samples_, 1.0));
    if (tooth > 0.0 && moved / tooth > 1e-3) add(Finding::noisy);
    if (hum_.active()) add(Finding::hum);
    if (tooth > 0.0 && tooth < 5.0) add(Finding::undersampled);
    if (dropouts_ > 0) add(Finding::dropouts);
    if (highest_middle_ - lowest_middle_ > 0.25 * report.swing) add(Finding::drift);
    if (queue_.told() != Flank::automatic && queue_.sure() && queue_.better(queue_.told()) != queue_.told())
        add(Finding::inverted);
    if (settings_.kind == SensorKind::inductive && level->two_levels() && report.clipped_share < 0.25)
        add(Finding::kind_mistaken);
    if (settings_.kind == SensorKind::digital && level->dwell() < Real(0.6) && slope_samples_ > 3.0)
        add(Finding::kind_mistaken);
    return report;
}

}  // namespace kurbel::signal
