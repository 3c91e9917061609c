// The heart: from energy bins to the work that each firing lost.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/bin_history.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/cycle_pattern.hpp"
#include "kurbel/stage/persistent_misfire.hpp"
#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/segmenter.hpp"
#include "kurbel/stage/window_covariance.hpp"

namespace kurbel {

/// Work of one firing, before it is judged. Work is over inertia, rad^2/s^2.
template <class Real>
struct FiringWork {
    std::int64_t tdc_tick = 0;
    std::int64_t bin = 0;  ///< bin that begins at its TDC
    int place = 0;         ///< in the firing order, of the frame in force when it was given out
    bool phase_known = false;
    bool phase_lost = false;  ///< it was known and is not now
    bool complete = false;    ///< its window was whole; else only time, speed and load are meaningful
    bool cut = false;         ///< fuel was cut for it
    bool sized = false;       ///< expected work comes from geometry, inertia and load, not from a guess
    bool dead = false;        ///< this cylinder was dead all the while that the pattern was learned
    Real load = 0;            ///< at intake closing; NaN where unknown
    Real speed_rpm = 0;
    Real acceleration = 0;      ///< rad/s^2 over the firing interval, healthy pattern removed
    Real expected = 0;          ///< work of a healthy firing here
    Real lost = 0;              ///< share of it that is missing against this cylinder's healthy pattern
    Real lost_se = 0;           ///< its standard error from measurement and pattern
    Real pattern_variance = 0;  ///< part of lost_se squared that comes from a pattern still being learned
    Real offset = 0;            ///< share by which this cylinder's healthy pattern lies below the others
    Real strange = 1;  ///< residual that neither health nor misfire explains, in its healthy mean square; 1 = usual
};

/// What the Decision tells the stages that learn.
template <class Real>
struct Feedback {
    bool misfire = false;  ///< called a misfire, or would be one but for an obstacle
    bool learn = false;    ///< may be learned from at all
    Real probability = 0;  ///< that the work was lost
};

/// Learns the healthy pattern of the cycle and estimates, per firing, the share of work that is missing: the generalised
/// least-squares amplitude of the response to one lost combustion in the window from 90 degrees before to 420 after TDC.
/// A cylinder that was dead while the pattern was learned is part of it; PersistentMisfire finds that, and its firings are
/// then measured from "all lost" instead of from "healthy".
/// Firings overlap, so the one that explains most is taken out before its neighbours are looked at. Holds a firing back
/// until the firings of the following revolution are in, too (780 crank degrees in all).
///
/// Use per bin: push(), then while take(): judge, learn(). No allocation; one object per stream.
template <class Real>
class WorkEstimator {
  public:
    static constexpr int kPending = 2 * kMaxCylinders + 2;
    using Window = typename WindowCovariance<Real>::Window;
    using Limits = std::array<Real, kMaxCylinders>;

    void configure(const Config& config, const CycleGrid& grid) noexcept {
        grid_ = grid;
        const EngineConfig& engine = config.engine;
        two_stroke_ = engine.strokes == 2;
        geometry_known_ = engine.bore_mm > 0.0 && engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0;
        before_ = static_cast<int>(std::ceil(90.0 / grid.bin_deg - 1e-9));
        size_ = std::min(kMaxWindow, before_ + static_cast<int>(std::floor(420.0 / grid.bin_deg + 1e-9)));
        size_ = std::max(size_, before_ + 1);
        hold_ = static_cast<int>(std::lround(360.0 / grid.bin_deg));
        intake_back_ = static_cast<int>(std::lround(150.0 / grid.bin_deg));
        bin_rad_ = static_cast<Real>(to_rad(grid.bin_deg));
        rpm_ticks_ = static_cast<Real>(config.timer.hz * 60.0 * engine.cycle_deg() / 360.0);
        full_work_ = static_cast<Real>(work_at_full_charge(engine));
        history_.set_inertia(engine, grid);
        history_.set_cycle(grid.bins);
        bank_.begin(engine, config.crank_wheel.at, grid, -before_, size_);
        persistent_.begin(engine, config.crank_wheel, grid, -before_, size_);
        persistent_.set_responses(bank_);
        reset();
    }

    void reset() noexcept {
        history_.clear();
        covariance_.begin(size_);
        load_known_ = false;
        begin_learning();
        pending_ = 0;
        head_ = 0;
        turn_ = 0;
        next_cycle_bin_ = -1;
        ever_known_ = false;
        frame_known_ = false;
    }

    /// Takes one bin with the channel values in force at its end; `load` NaN where unknown.
    void push(const Bin<Real>& bin, Real load, std::uint32_t cut, bool frame_known) noexcept {
        follow_frame(bin, frame_known);
        const bool known = load == load;
        if (known && !load_known_) {
            load_known_ = true;
            begin_learning();
        }
        history_.push(bin, known ? load : Real(0), cut, (bin.index + bin.turn) % grid_.bins);
        open_window(history_.newest() - size_ + before_);
    }

    /// Takes the next firing that is ready. `limits`: share of lost work above which a firing counts as misfire, per place.
    /// `all`: the stream has ended, give out what is held back.
    [[nodiscard]] bool take(FiringWork<Real>& firing, const Limits& limits, bool all = false) noexcept {
        if (pending_ == 0) return false;
        Pending& oldest = pending_at(0);
        if (!all && history_.newest() - size_ + before_ < oldest.bin + hold_) return false;
        describe(oldest, firing);
        if (firing.complete) estimate(firing, limits);
        return true;
    }

    /// Ends the firing that take() gave: learns from it as told. Call once after each take().
    void learn(const FiringWork<Real>& firing, const Feedback<Real>& feedback) noexcept {
        if (firing.complete) {
            if (feedback.learn) learn_window(firing, feedback);
            if (feedback.misfire != dead_[static_cast<std::size_t>(pending_at(0).place)]) remove_deviation();
        }
        head_ = (head_ + 1) % kPending;
        --pending_;
        if (!frame_lost()) learn_cycles(firing.bin - before_);
    }

    /// After the last bin: opens the windows that still lack their tail, shortened by nothing; they are given out incomplete.
    void finish() noexcept {
        for (std::int64_t bin = history_.newest() - size_ + before_ + 1; bin <= history_.newest(); ++bin)
            open_window(bin);
    }

    [[nodiscard]] int cycles_learned() const noexcept { return pattern_.cycles(); }
    [[nodiscard]] bool settled() const noexcept { return pattern_.cycles() >= 4; }
    [[nodiscard]] const ResponseBank<Real>& bank() const noexcept { return bank_; }
    [[nodiscard]] int firings_held_back() const noexcept { return pending_; }

    /// Work over inertia of one healthy firing per unit of useful charge: 11 bar of indicated mean pressure (engineering
    /// range, from memory). Where inertia is unknown, a typical one of 0.075 kg m^2 per litre of all cylinders.
    [[nodiscard]] static double work_at_full_charge(const EngineConfig& engine) noexcept {
        constexpr double kMeanPressure_pa = 11.0e5;
        constexpr double kInertiaPerVolume = 75.0;  // kg m^2 per m^3
        const double volume_m3 = 0.25e-9 * std::numbers::pi * engine.bore_mm * engine.bore_mm * engine.stroke_mm;
        if (volume_m3 > 0.0 && engine.inertia_kg_m2 > 0.0) return kMeanPressure_pa * volume_m3 / engine.inertia_kg_m2;
        return kMeanPressure_pa / (kInertiaPerVolume * engine.cylinders);
    }

    /// Useful share of the charge at this load: residual gas and throttling take about 0.09 of it (engineering range, from
    /// memory: indicated mean pressure rises in a line with manifold pressure and vanishes near 0.1 bar). An unknown load
    /// (NaN) is taken as 0.35.
    [[nodiscard]] static Real useful_charge(Real load) noexcept {
        return load == load ? std::max(load - Real(0.09), Real(0.04)) : Real(0.26);
    }

  private:
    struct Pending {
        std::int64_t bin = 0;
        int place = 0;
        bool complete = false;
        Real amplitude = 0;
        Real expected = 1;
        Real gain = 0;  // best log-likelihood gain over all kinds of response
    };

    void begin_learning() noexcept {
        pattern_.begin(grid_.bins, load_known_, full_work_);
        persistent_.restart();
        offset_.fill(0);
        dead_.fill(false);
        size_factor_ = Real(1);
        size_count_ = Real(0);
    }

    /// Follows what is known of the cycle's frame: a half found to be the other one, or a loss.
    void follow_frame(const Bin<Real>& bin, bool frame_known) noexcept {
        const bool was_lost = frame_lost();
        if (bin.restart) {
            next_cycle_bin_ = -1;
            // Without a known phase the halves may have changed places: what was learned does not hold. Where a cam has told
            // it before, it will do so again soon.
            if (history_.any() && !frame_known && !ever_known_ && !two_stroke_) begin_learning();
        }
        const bool turned = bin.turn != turn_ && history_.any();
        turn_ = bin.turn;
        frame_known_ = frame_known;
        ever_known_ = ever_known_ || frame_known;
        if (!turned || bin.restart) return;
        if (!was_lost) pattern_.turn();
        persistent_.restart();
        dead_.fill(false);
        reopen_windows();
    }

    /// The phase was known, is not any more, and will be told again.
    [[nodiscard]] bool frame_lost() const noexcept { return ever_known_ && !frame_known_; }

    /// Looks for the firings once more, after the frame turned by half a cycle.
    void reopen_windows() noexcept {
        if (pending_ == 0) return;
        const std::int64_t from = pending_at(0).bin;
        pending_ = 0;
        for (std::int64_t bin = from; bin <= history_.newest() - size_ + before_; ++bin) open_window(bin);
    }

    [[nodiscard]] Pending& pending_at(int i) noexcept {
        return queue_[static_cast<std::size_t>((head_ + i) % kPending)];
    }

    [[nodiscard]] int place_in_cycle(std::int64_t bin) const noexcept {
        return static_cast<int>((bin + turn_) % grid_.bins);
    }

    [[nodiscard]] Real expected_work(std::int64_t bin) const noexcept {
        const Real load = load_known_ ? history_.load(bin - intake_back_) : std::numeric_limits<Real>::quiet_NaN();
        return full_work_ * size_factor_ * useful_charge(load);
    }

    /// A firing whose TDC bin is `bin` is looked at for the first time, if one is there.
    void open_window(std::int64_t bin) noexcept {
        if (!history_.holds(bin) || pending_ == kPending) return;
        const int place = grid_.firing_at[static_cast<std::size_t>(place_in_cycle(bin))];
        if (place < 0) return;
        Pending& entry = pending_at(pending_++);
        entry.bin = bin;
        entry.place = place;
        entry.complete = history_.connected(bin - before_, bin - before_ + size_);
        entry.expected = expected_work(bin);
        if (!entry.complete) return;
        if (!covariance_.begun()) begin_covariance(bin);
        Window x;
        fill_window(entry, x);
        entry.amplitude = bank_.amplitude(place, x);
        if (worth_a_look(entry)) entry.gain = bank_.best_gain(place, x);
    }

    [[nodiscard]] PatternPoint<Real> point(std::int64_t bin) const noexcept {
        return {history_.load(bin), history_.mean_energy(bin)};
    }

    /// Residual in units of expected work, slow trend removed.
    void fill_window(const Pending& entry, Window& x) const noexcept {
        const std::int64_t first = entry.bin - before_;
        const Real trend = trend_before(first);
        const Real scale = Real(1) / entry.expected;
        int place = place_in_cycle(first);
        for (int j = 0; j < size_; ++j) {
            const std::int64_t bin = first + j;
            x[static_cast<std::size_t>(j)] = (history_.clean(bin) - pattern_.at(place, point(bin)) - trend) * scale;
            if (++place == grid_.bins) place = 0;
        }
    }

    /// Mean residual over the cycle before `bin`: acceleration of the whole vehicle, governor, road.
    [[nodiscard]] Real trend_before(std::int64_t bin) const noexcept {
        if (!history_.connected(bin - grid_.bins, bin)) return Real(0);
        // The pattern has no mean over a cycle, so energy gained over the cycle is all trend.
        return history_.clean_sum(bin - grid_.bins, bin) / Real(grid_.bins);
    }

    void describe(const Pending& entry, FiringWork<Real>& firing) const noexcept {
        firing = FiringWork<Real>{};
        firing.bin = entry.bin;
        firing.place = grid_.firing_at[static_cast<std::size_t>(place_in_cycle(entry.bin))] >= 0
                           ? grid_.firing_at[static_cast<std::size_t>(place_in_cycle(entry.bin))]
                           : entry.place;
        firing.phase_known = frame_known_;
        firing.phase_lost = frame_lost();
        firing.complete = entry.complete;
        const auto place = static_cast<std::size_t>(firing.place);
        firing.tdc_tick = history_.tick_within(entry.bin, static_cast<Real>(grid_.tdc_offset[place]));
        firing.load = load_known_ ? history_.load(entry.bin - intake_back_) : std::numeric_limits<Real>::quiet_NaN();
        firing.cut = (((history_.cut(entry.bin) | history_.cut(entry.bin - intake_back_)) >> firing.place) & 1U) != 0;
        firing.speed_rpm = speed_around(entry.bin);
        firing.expected = entry.expected;
        firing.offset = offset_[place];
        firing.dead = dead_[place];
        firing.sized = sized();
    }

    [[nodiscard]] Real speed_around(std::int64_t bin) const noexcept {
        std::int64_t from = bin - grid_.bins / 2;
        std::int64_t to = from + grid_.bins;
        while (from < bin && !history_.connected(from, bin)) ++from;
        while (to > bin + 1 && !history_.connected(bin, to)) --to;
        const Real share = static_cast<Real>(to - from) / static_cast<Real>(grid_.bins);
        return rpm_ticks_ * share / history_.ticks_between(from, to);
    }

    /// The amplitude of the oldest firing, after its stronger neighbours have been explained.
    void estimate(FiringWork<Real>& firing, const Limits& limits) noexcept {
        Pending& oldest = pending_at(0);
        Window x;
        fill_window(oldest, x);
        oldest.amplitude = bank_.amplitude(oldest.place, x);
        std::array<Real, kPending> amplitude{};
        std::array<bool, kPending> explained{};
        for (int i = 0; i < pending_; ++i) amplitude[static_cast<std::size_t>(i)] = pending_at(i).amplitude;
        for (int round = 0; round < pending_; ++round) {
            const int strongest = strongest_above(amplitude, explained, limits);
            if (strongest <= 0) break;
            explained[static_cast<std::size_t>(strongest)] = true;
            take_out(strongest, amplitude[static_cast<std::size_t>(strongest)], amplitude);
        }
        oldest.amplitude = amplitude[0];
        firing.lost = amplitude[0] + level(oldest.place);
        const Real precision = bank_.precision(oldest.place);
        // A pattern learned from n cycles scatters like the mean of n windows.
        firing.pattern_variance = pattern_.doubt(point(oldest.bin)) / precision;
        firing.lost_se = std::sqrt(Real(1) / precision + firing.pattern_variance);
        firing.strange = strangeness(oldest.place, oldest.amplitude, x);
        firing.acceleration = acceleration(oldest.bin, firing.place);
        weigh_hypotheses(x);
    }

    /// Share of lost work that the pattern itself holds for this place.
    [[nodiscard]] Real level(int place) const noexcept {
        return dead_[static_cast<std::size_t>(place)] ? Real(1) : Real(0);
    }

    /// The pending firing that explains most among those that are not as the pattern has them; -1 where all are.
    [[nodiscard]] int strongest_above(const std::array<Real, kPending>& amplitude,
                                      const std::array<bool, kPending>& explained, const Limits& limits) noexcept {
        int best = -1;
        Real best_gain = 0;
        for (int i = 0; i < pending_; ++i) {
            const Pending& entry = pending_at(i);
            const Real s = amplitude[static_cast<std::size_t>(i)];
            const bool lost = s + level(entry.place) > limits[static_cast<std::size_t>(entry.place)];
            if (!entry.complete || explained[static_cast<std::size_t>(i)] ||
                lost == dead_[static_cast<std::size_t>(entry.place)])
                continue;
            const Real gain = s * s * bank_.precision(entry.place);
            if (gain > best_gain) {
                best_gain = gain;
                best = i;
            }
        }
        return best;
    }

    /// Removes what pending firing `from` of amplitude `size` adds to the amplitudes of the others.
    void take_out(int from, Real size, std::array<Real, kPending>& amplitude) noexcept {
        const Pending& source = pending_at(from);
        for (int i = 0; i < pending_; ++i) {
            const Pending& entry = pending_at(i);
            const auto shift = static_cast<int>(source.bin - entry.bin);
            if (i == from || !entry.complete || std::abs(shift) >= size_) continue;
            amplitude[static_cast<std::size_t>(i)] -=
                size * source.expected / entry.expected * bank_.leak(entry.place, source.place, shift);
        }
    }

    /// Whether all kinds of response are worth trying: only where the one in use, or the size of the window, says that something
    /// may have happened. Saves two thirds of the work on healthy engines.
    [[nodiscard]] bool worth_a_look(const Pending& entry) const noexcept {
        return entry.amplitude > Real(0.25) || !bank_.experienced();
    }

    /// Evidence on the kind of response counts only where a firing explains more than its neighbours do.
    void weigh_hypotheses(const Window& x) noexcept {
        const Pending& oldest = pending_at(0);
        if (oldest.gain <= Real(0) || !settled()) return;
        for (int i = 1; i < pending_; ++i)
            if (pending_at(i).complete && pending_at(i).gain > oldest.gain) return;
        if (last_gain_bin_ > oldest.bin - hold_ && last_gain_ > oldest.gain) return;
        last_gain_ = oldest.gain;
        last_gain_bin_ = oldest.bin;
        bank_.weigh(oldest.place, x);
    }

    /// What the response leaves of window x, over the usual variance of each bin.
    [[nodiscard]] Real strangeness(int place, Real amplitude, const Window& x) const noexcept {
        const Window& response = bank_.response(place);
        Real sum = 0;
        for (int j = 0; j < size_; ++j) {
            const auto at = static_cast<std::size_t>(j);
            const Real left = x[at] - amplitude * response[at];
            sum += left * left * inverse_variance_[at];
        }
        return sum / static_cast<Real>(size_);
    }

    [[nodiscard]] Real acceleration(std::int64_t bin, int place) const noexcept {
        const int next = (place + 1) % grid_.firings;
        int bins = grid_.tdc_bin[static_cast<std::size_t>(next)] - grid_.tdc_bin[static_cast<std::size_t>(place)];
        if (bins <= 0) bins += grid_.bins;
        if (!history_.connected(bin - 1, bin + bins)) return std::numeric_limits<Real>::quiet_NaN();
        Real sum = 0;
        // A difference reaches from the middle of one bin to the middle of the next: half of each end counts.
        for (int j = -1; j < bins; ++j) {
            const Real share = j < 0 || j == bins - 1 ? Real(0.5) : Real(1);
            const std::int64_t at = bin + j;
            sum += share * (history_.raw(at) - pattern_.at(place_in_cycle(at), point(at)));
        }
        return sum / (static_cast<Real>(bins) * bin_rad_);
    }

    /// Takes a firing that was not as the pattern has it (a misfire, or a dead cylinder that fired) out of what later firings
    /// and the pattern see.
    void remove_deviation() noexcept {
        const Pending& oldest = pending_at(0);
        const Real size = std::clamp(oldest.amplitude, Real(-1.5), Real(1.5));
        const Window& response = bank_.response(oldest.place);
        for (int j = 0; j < size_; ++j)
            history_.take_out(oldest.bin - before_ + j, size * oldest.expected * response[static_cast<std::size_t>(j)]);
        std::array<Real, kPending> amplitude{};
        take_out(0, size, amplitude);
        for (int i = 1; i < pending_; ++i) pending_at(i).amplitude += amplitude[static_cast<std::size_t>(i)];
    }

    /// Learns the scatter of windows from a healthy firing, the response from a misfire.
    void learn_window(const FiringWork<Real>& firing, const Feedback<Real>& feedback) noexcept {
        const Pending& oldest = pending_at(0);
        Window x;
        fill_window(oldest, x);
        // A window that fits neither health nor misfire must not teach much (bounded influence).
        const Real trust = std::min(Real(1), Real(4) / std::max(firing.strange, Real(1e-3)));
        const bool dead = dead_[static_cast<std::size_t>(oldest.place)];
        if (dead) {
            // The pattern holds the dead cylinder as it is, so its windows scatter like healthy ones.
            if (feedback.misfire) covariance_.learn(x, trust);
            return;
        }
        if (!feedback.misfire && feedback.probability < Real(0.5)) {
            covariance_.learn(x, trust * (Real(1) - feedback.probability));
            return;
        }
        learn_size(firing.lost, feedback.probability);
        if (firing.lost < Real(0.5) || firing.lost > Real(1.5)) return;
        // Another misfire in the window is not part of this one's response.
        for (int i = 1; i < pending_; ++i)
            if (std::fabs(pending_at(i).amplitude) > Real(0.3)) subtract(x, pending_at(i), oldest);
        for (int j = 0; j < size_; ++j) x[static_cast<std::size_t>(j)] /= firing.lost;
        bank_.refine(oldest.place, x, feedback.probability);
    }

    /// Whether expected work rests on geometry, inertia and a load channel.
    [[nodiscard]] bool sized() const noexcept { return load_known_ && geometry_known_; }

    /// Where expected work is a guess, misfires tell their size: a whole work is lost in the typical one.
    void learn_size(Real lost, Real trust) noexcept {
        if (sized() || !settled()) return;
        size_count_ += trust;
        const Real step = std::clamp(lost, Real(0.25), Real(4));
        size_factor_ *= std::pow(step, trust / (std::min(size_count_, Real(50)) + Real(2)));
        size_factor_ = std::clamp(size_factor_, Real(0.1), Real(10));
    }

    /// Takes the known contribution of firing `other` out of window x of firing `own`.
    void subtract(Window& x, const Pending& other, const Pending& own) const noexcept {
        const auto shift = static_cast<int>(other.bin - own.bin);
        if (!other.complete || shift >= size_ || shift <= -size_) return;
        const Real amplitude = other.amplitude * other.expected / own.expected;
        const Window& response = bank_.response(other.place);
        const int end = std::min(size_, size_ + shift);
        for (int j = std::max(0, shift); j < end; ++j)
            x[static_cast<std::size_t>(j)] -= amplitude * response[static_cast<std::size_t>(j - shift)];
    }

    /// Learns the pattern from all cycles that end before `bin`: their firings are judged.
    void learn_cycles(std::int64_t bin) noexcept {
        if (next_cycle_bin_ < 0 || !history_.holds(next_cycle_bin_)) {
            next_cycle_bin_ = history_.oldest_connected();
            if (next_cycle_bin_ < 0) return;
        }
        while (next_cycle_bin_ + grid_.bins <= bin) {
            if (!history_.connected(next_cycle_bin_ - 1, next_cycle_bin_ + grid_.bins + 1)) {
                ++next_cycle_bin_;
                continue;
            }
            learn_cycle(next_cycle_bin_);
            next_cycle_bin_ += grid_.bins;
        }
    }

    void learn_cycle(std::int64_t first) noexcept {
        std::array<Real, kMaxBins> residual{};
        const Real trend = history_.clean_sum(first, first + grid_.bins) / Real(grid_.bins);
        PatternPoint<Real> mean;
        std::uint32_t cut = 0;
        bool cut_changed = false;
        for (int b = 0; b < grid_.bins; ++b) {
            const std::int64_t bin = first + b;
            const int place = place_in_cycle(bin);
            residual[static_cast<std::size_t>(place)] = history_.clean(bin) - pattern_.at(place, point(bin)) - trend;
            mean.load += point(bin).load / Real(grid_.bins);
            mean.energy += point(bin).energy / Real(grid_.bins);
            cut |= history_.cut(bin);
            cut_changed = cut_changed || history_.cut(bin) != history_.cut(first);
        }
        const std::uint32_t all = (1U << grid_.firings) - 1U;
        if (cut_changed || cut == all) return;
        if (cut != cut_learned_) {
            // With other cylinders switched off this is another engine.
            begin_learning();
            cut_learned_ = cut;
            return;
        }
        std::array<Real, kMaxBins> share = residual;
        const Real expected = expected_work(first + grid_.bins / 2);
        for (Real& value : share) value /= expected;
        persistent_.track(share);
        pattern_.learn(residual, mean);
        const int cycles = pattern_.cycles();
        const bool speed_changed = bank_.set_speed(speed_around(first + grid_.bins / 2));
        // Often at first, then every 16 cycles.
        if (speed_changed || (cycles & (cycles - 1)) == 0 || cycles % 16 == 0) match();
        if (cycles < 16 || cycles % 8 == 0) examine(first, mean);
    }

    void match() noexcept {
        bank_.choose(covariance_.learned());
        if (!covariance_.begun()) return;
        bank_.compose(covariance_);
        if (!covariance_.factorise(bank_.doubt())) return;
        bank_.match(covariance_);
        for (int j = 0; j < size_; ++j)
            inverse_variance_[static_cast<std::size_t>(j)] = Real(1) / std::max(covariance_.variance(j), Real(1e-9));
    }

    void examine(std::int64_t first, const PatternPoint<Real>& mean) noexcept {
        if (!covariance_.begun()) return;
        std::array<Real, kMaxBins> pattern{};
        const Real expected = expected_work(first + grid_.bins / 2);
        for (int b = 0; b < grid_.bins; ++b) pattern[static_cast<std::size_t>(b)] = pattern_.at(b, mean) / expected;
        const auto finding =
            persistent_.examine(pattern, mean.energy / expected, pattern_.doubt(mean), bank_.mode_per_rev());
        for (int k = 0; k < grid_.firings; ++k)
            offset_[static_cast<std::size_t>(k)] = finding.deviation[static_cast<std::size_t>(k)];
        if (persistent_.confirmed(finding)) dead_ = finding.missing;
    }

    void begin_covariance(std::int64_t bin) noexcept {
        bank_.set_speed(speed_around(bin));
        bank_.compose(covariance_);
        fill_prior(covariance_, bin);
        match();
    }

    /// What windows around healthy firings vary by before anything is known: edge errors of 0.03 degrees rms, slow torque of
    /// 2 % a bin, scatter of 10 % in each firing around (engineering ranges, from memory).
    void fill_prior(WindowCovariance<Real>& prior, std::int64_t bin) const noexcept {
        prior.begin(size_);
        Window x{};
        const Real edge = Real(2) * Real(to_rad(0.03)) / bin_rad_ * history_.mean_energy(bin) / expected_work(bin);
        for (int j = -2; j < size_; ++j) {
            x.fill(0);
            for (const int i : {0, 1, 2}) {
                const int at = j + i;
                if (at >= 0 && at < size_) x[static_cast<std::size_t>(at)] = i == 1 ? Real(-2) * edge : edge;
            }
            prior.add_prior(x, Real(1));
        }
        x.fill(Real(0.02));
        prior.add_prior(x, Real(1));
        prior.add_prior_diagonal(Real(4e-4));
        add_neighbours(prior);
        prior.end_prior();
    }

    /// The healthy scatter of the firings around is noise to the one in the middle.
    void add_neighbours(WindowCovariance<Real>& prior) const noexcept {
        const Real share = Real(0.01) / Real(grid_.firings);
        for (int k = 0; k < grid_.firings; ++k)
            for (int m = 0; m < grid_.firings; ++m)
                for (const int turn : {-grid_.bins, 0, grid_.bins}) {
                    const int shift =
                        grid_.tdc_bin[static_cast<std::size_t>(m)] - grid_.tdc_bin[static_cast<std::size_t>(k)] + turn;
                    if (shift == 0 || shift >= size_ || shift <= -size_) continue;
                    Window x{};
                    const Window& response = bank_.response(m);
                    const int end = std::min(size_, size_ + shift);
                    for (int j = std::max(0, shift); j < end; ++j)
                        x[static_cast<std::size_t>(j)] = response[static_cast<std::size_t>(j - shift)];
                    prior.add_prior(x, share);
                }
    }

    CycleGrid grid_{};
    bool two_stroke_ = false;
    bool load_known_ = false;
    std::uint32_t cut_learned_ = 0;  // cylinders that were cut while the pattern was learned
    bool geometry_known_ = false;
    bool frame_known_ = false;
    bool ever_known_ = false;
    int before_ = 0;  // bins of the window before TDC
    int size_ = 0;    // bins of the window
    int hold_ = 0;    // bins that a firing waits for its neighbours
    int intake_back_ = 0;
    int turn_ = 0;
    int pending_ = 0;
    int head_ = 0;
    Real bin_rad_ = 0;
    Real rpm_ticks_ = 0;
    Real full_work_ = 0;
    Real size_factor_ = 1;
    Real size_count_ = 0;
    Real last_gain_ = 0;
    std::int64_t last_gain_bin_ = 0;
    std::int64_t next_cycle_bin_ = -1;
    Window inverse_variance_{};
    std::array<Real, kMaxCylinders> offset_{};
    std::array<bool, kMaxCylinders> dead_{};  // cylinders whose missing work the pattern holds
    std::array<Pending, kPending> queue_{};
    BinHistory<Real> history_{};
    CyclePattern<Real> pattern_{};
    WindowCovariance<Real> covariance_{};
    ResponseBank<Real> bank_{};
    PersistentMisfire<Real> persistent_{};
};

}  // namespace kurbel
