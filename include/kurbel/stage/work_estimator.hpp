// The heart: from energy bins to the work that each firing lost.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/cylinder_levels.hpp"
#include "kurbel/stage/expected_work.hpp"
#include "kurbel/stage/firing_work.hpp"
#include "kurbel/stage/first_losses.hpp"
#include "kurbel/stage/healthy_cycle.hpp"
#include "kurbel/stage/learned_pattern.hpp"
#include "kurbel/stage/misfire_response.hpp"
#include "kurbel/stage/pending_firings.hpp"
#include "kurbel/stage/rehearsal.hpp"
#include "kurbel/stage/residual_history.hpp"
#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/segmenter.hpp"
#include "kurbel/stage/window_covariance.hpp"
#include "kurbel/stage/window_misfit.hpp"
#include "kurbel/stage/window_prior.hpp"

namespace kurbel {

/// Learns the healthy pattern of the cycle and estimates, per firing, the share of work that is missing: the generalised
/// least-squares amplitude of the response to one lost combustion in the window from 90 degrees before to 420 after TDC.
/// A cylinder that was dead while the pattern was learned is part of it; CylinderLevels finds that, and its firings are
/// then measured from "all lost" instead of from "healthy". Holds a firing back until the firings of the following revolution
/// are in, too (780 crank degrees in all); the first ones until the engine is known (four cycles more), and those come twice.
///
/// Use per bin: push(), then while take(): judge, learn(). No allocation; one object per stream.
template <class Real>
class WorkEstimator {
  public:
    using Limits = typename PendingFirings<Real>::Limits;

    void configure(const Config& config, const CycleGrid& grid) noexcept {
        grid_ = grid;
        const EngineConfig& engine = config.engine;
        healthy_ = HealthyCycle(engine, grid);
        two_stroke_ = engine.strokes == 2;
        before_ = static_cast<int>(std::ceil(90.0 / grid.bin_deg - 1e-9));
        size_ = std::min(kMaxWindow, before_ + static_cast<int>(std::floor(420.0 / grid.bin_deg + 1e-9)));
        size_ = std::max(size_, before_ + 1);
        shortest_ = std::min(size_, before_ + static_cast<int>(std::ceil(180.0 / grid.bin_deg - 1e-9)));
        hold_ = static_cast<int>(std::lround(360.0 / grid.bin_deg));
        expected_.begin(engine);
        residuals_.configure(config, grid);
        bank_.begin(engine, config.crank_wheel.at, grid, -before_, size_, size_ + hold_);
        levels_.begin(engine, config.crank_wheel, grid, bank_, -before_, size_);
        reset();
    }

    void reset() noexcept {
        residuals_.reset();
        covariance_.begin(size_);
        begin_learning();
        pending_.clear();
        rehearsal_.reset();
        next_cycle_bin_ = -1;
        ever_known_ = false;
        frame_known_ = false;
    }

    /// Takes one bin with the channel values in force at its end; `load` NaN where unknown.
    void push(const Bin<Real>& bin, Real load, std::uint32_t cut, bool frame_known) noexcept {
        follow_frame(bin, frame_known);
        if (load == load && !residuals_.load_known()) {
            residuals_.expect_load();
            begin_learning();
        }
        residuals_.push(bin, load, cut);
        open_window(newest_window(), size_);
        if (!settled() && !frame_lost()) learn_ahead();
    }

    /// Whether take() has one.
    [[nodiscard]] bool ready(bool all = false) const noexcept {
        return pending_.count() > 0 && (all || (newest_window() >= pending_[0].bin + hold_ && !holds_back()));
    }

    /// Takes the next firing that is ready. `limits`: share of lost work above which a firing counts as misfire, per place.
    /// `all`: the stream has ended, give out what is held back.
    [[nodiscard]] bool take(FiringWork<Real>& firing, const Limits& limits, bool all = false) noexcept {
        if (!ready(all)) return false;
        describe(pending_[0], firing);
        if (firing.complete) estimate(firing, limits);
        return true;
    }

    /// Ends the firing that take() gave: learns from it as told. Call once after each take().
    void learn(const FiringWork<Real>& firing, const Feedback<Real>& feedback) noexcept {
        const int place = pending_[0].place;
        if (firing.complete) {
            if (feedback.learn) learn_window(firing, feedback);
            const bool deviates = feedback.misfire != levels_.is_dead(place);
            levels_.note(place, deviates ? pending_[0].amplitude : Real(0));
            if (rehearsal_.runs()) rehearsal_.note(pending_[0].bin, deviates ? pending_[0].amplitude : Real(0));
            if (deviates) remove_deviation();
        }
        pending_.drop_oldest();
        Real level = feedback.healthy_level;
        if (firing.complete && (levels_.revives(place, level) || !levels_.is_dead(place))) move_pattern(place, level);
        if (!frame_lost()) learn_cycles(firing.bin - before_);
        if (rehearsal_.runs() && !ready()) go_back();
    }

    /// After the last bin: opens the windows that still lack their tail. Those that reach half a revolution beyond TDC are
    /// judged by what is there, with the larger error that this has; the others are given out incomplete.
    void finish() noexcept {
        for (std::int64_t bin = newest_window() + 1; bin <= residuals_.bins().newest(); ++bin) {
            const auto length = static_cast<int>(residuals_.bins().newest() - bin) + before_;
            open_window(bin, length >= shortest_ ? length : 0);
        }
    }

    /// The next firings will be given out once more: what is learned of them counts, not what is said of them.
    [[nodiscard]] bool rehearses() const noexcept { return rehearsal_.runs(); }
    /// How the firings scatter that will be, and how many have told.
    [[nodiscard]] Real first_scatter() const noexcept { return first_scatter_; }
    [[nodiscard]] int first_healthy() const noexcept { return first_healthy_; }
    /// How many rehearsals have ended.
    [[nodiscard]] int rehearsals() const noexcept { return rehearsal_.passes(); }

    [[nodiscard]] int cycles_learned() const noexcept { return residuals_.pattern().cycles(); }
    [[nodiscard]] bool settled() const noexcept { return cycles_learned() >= kLearningCycles; }

    /// Cycles that the first firings wait for the engine to be known.
    static constexpr int kLearningCycles = 4;

  private:
    void begin_learning() noexcept {
        residuals_.begin_pattern(expected_.at_full_charge(), healthy_);
        levels_.restart();
        expected_.restart();
    }

    /// While the engine is not known yet its firings wait, to be judged by what it turns out to be; for as long as it may take to
    /// know it, and as there is room.
    [[nodiscard]] bool holds_back() const noexcept {
        const std::int64_t first = pending_[0].bin - before_;
        return !settled() && pending_.has_room_for(grid_.firings) && residuals_.bins().holds(first) &&
               residuals_.bins().newest() - first < BinHistory<Real>::kRing - grid_.bins - 2 &&
               newest_window() < pending_[0].bin + hold_ + kLearningCycles * grid_.bins;
    }

    /// Learns from cycles whose firings have not been judged yet. Once that is enough, those that waited are looked at together and
    /// then gone through several times.
    void learn_ahead() noexcept {
        learn_cycles(newest_window());  // no further: what happens in them is to be seen whole
        if (!settled() || pending_.count() == 0) return;
        FirstLosses<Real> first;
        try_hypotheses(first);
        // Twice, for the first look knows nothing of how this engine's windows scatter.
        find_first_losses(first);
        learn_from_waiting(first);
        residuals_.put_back(first_waiting());
        learn_again();
        match();
        find_first_losses(first);
        residuals_.put_back(first_waiting());
        first_scatter_ = first.deviation();
        first_healthy_ = first.others();
        rehearsal_.begin(pending_[0].bin, newest_window() - hold_);
        for (int n = 0; n < first.losses(); ++n) rehearsal_.note(pending_[first.firing(n)].bin, first.lost(n));
        look_again();
    }

    [[nodiscard]] std::int64_t first_waiting() const noexcept { return pending_[0].bin - before_; }

    /// Asks which kind of response explains most of what the waiting firings show together.
    void try_hypotheses(FirstLosses<Real>& first) noexcept {
        if (!bank_.untaught()) return;
        for (int h = 0; h < bank_.hypotheses(); ++h) {
            bank_.assume(h);
            bank_.compose(covariance_);
            bank_.match(covariance_);
            find_losses(first);
            bank_.expect(h, static_cast<float>(first.gain(pending_, bank_)));
        }
        bank_.assume(0);
        match();
    }

    void find_losses(FirstLosses<Real>& first) noexcept {
        Window x{};
        for (int i = 0; i < pending_.count(); ++i)
            if (pending_[i].usable()) find_amplitude(pending_[i], x);
        first.find(pending_, bank_, rehearsal_.leverage(cycles_learned()), levels_.dead(), grid_.bins,
                   residuals_.bins().oldest_connected() + before_, expected_.known(residuals_.load_known()),
                   kFirstLimit);
    }

    /// Takes the misfires that the waiting firings show together out of the bins and the pattern.
    void find_first_losses(FirstLosses<Real>& first) noexcept {
        find_losses(first);
        for (int n = 0; n < first.losses(); ++n) {
            const PendingFiring<Real>& entry = pending_[first.firing(n)];
            take_out_loss(residuals_, bank_, entry, entry.bin - before_, first.lost(n));
        }
        learn_again();
    }

    /// Learns how windows scatter from those that waited and lost nothing.
    void learn_from_waiting(const FirstLosses<Real>& first) noexcept {
        // The pattern was learned from these windows, too.
        const float own = std::sqrt(1.0F - static_cast<float>(rehearsal_.leverage(cycles_learned())));
        Window x{};
        for (int i = 0; i < pending_.count(); ++i) {
            const PendingFiring<Real>& entry = pending_[i];
            if (entry.length < size_ || first.has_lost(i)) continue;
            residuals_.fill(entry.bin - before_, entry.length, entry.expected, x);
            for (float& value : x) value /= own;
            covariance_.learn(x, 1.0F);
        }
    }

    /// Ends a rehearsal: what it took for misfires is taken out of the pattern, and all firings come anew.
    void go_back() noexcept {
        static_cast<void>(rehearsal_.again());
        learn_again();
        residuals_.put_back(rehearsal_.first() - before_);
        match();
        reopen_windows(rehearsal_.first());
    }

    /// Learns the same cycles once more, from what is left of them without misfires.
    void learn_again() noexcept {
        const int cycles = cycles_learned();
        const std::int64_t first = next_cycle_bin_ - cycles * grid_.bins;
        if (!residuals_.bins().connected(first - 1, next_cycle_bin_ + 1)) return;
        residuals_.begin_pattern(expected_.at_full_charge(), healthy_);
        levels_.restart();
        for (int i = 0; i < cycles; ++i) {
            const std::int64_t from = first + i * grid_.bins;
            const PatternPoint<Real> mean = learn_pattern(from);
            // What two cycles in a row tell is believed.
            if (i + 2 >= cycles) levels_.examine(learned_pattern(residuals_, expected_, bank_, grid_, from, mean));
        }
    }

    /// The pattern, and how the cycle's orders scatter, from the cycle that begins at bin `first`; its operating point.
    PatternPoint<Real> learn_pattern(std::int64_t first) noexcept {
        std::array<Real, kMaxBins> residual{};
        PatternPoint<Real> mean;
        residuals_.cycle(first, residual, mean);
        levels_.track(residual, expected_work(first + grid_.bins / 2));
        residuals_.learn_pattern(residual, mean);
        return mean;
    }

    /// Follows what is known of the cycle's frame: a half found to be the other one, or a loss.
    void follow_frame(const Bin<Real>& bin, bool frame_known) noexcept {
        const bool was_lost = frame_lost();
        const bool any = residuals_.bins().any();
        if (bin.restart) {
            next_cycle_bin_ = -1;
            // Without a known phase the halves may have changed places: what was learned does not hold. Where a cam has told
            // it before, it will do so again soon.
            if (any && !frame_known && !ever_known_ && !two_stroke_) begin_learning();
        }
        const bool turned = bin.turn != residuals_.turn() && any;
        residuals_.set_turn(bin.turn);
        frame_known_ = frame_known;
        ever_known_ = ever_known_ || frame_known;
        if (!turned || bin.restart) return;
        if (!was_lost) residuals_.turn_pattern();
        levels_.turned();
        if (pending_.count() > 0) reopen_windows(pending_[0].bin);
    }

    /// The phase was known, is not any more, and will be told again.
    [[nodiscard]] bool frame_lost() const noexcept { return ever_known_ && !frame_known_; }

    /// Looks for the firings from bin `from` on once more: the frame turned by half a cycle, or a rehearsal has ended.
    void reopen_windows(std::int64_t from) noexcept {
        pending_.clear();
        for (std::int64_t bin = from; bin <= newest_window(); ++bin) open_window(bin, size_);
    }

    /// TDC bin of the newest window that is whole.
    [[nodiscard]] std::int64_t newest_window() const noexcept { return residuals_.bins().newest() - size_ + before_; }

    [[nodiscard]] Real expected_work(std::int64_t bin) const noexcept {
        return expected_.at(residuals_.charge_load(bin));
    }

    /// A firing whose TDC bin is `bin` is looked at for the first time, if one is there. `length`: bins of its window.
    void open_window(std::int64_t bin, int length) noexcept {
        if (!residuals_.bins().holds(bin) || pending_.full()) return;
        const int place = residuals_.firing_at(bin);
        if (place < 0) return;
        PendingFiring<Real>& entry = pending_.append();
        entry.bin = bin;
        entry.place = place;
        entry.expected = expected_work(bin);
        if (length == 0 || !residuals_.bins().connected(bin - before_, bin - before_ + length)) return;
        entry.length = length;
        if (!covariance_.begun()) begin_covariance(bin);
        look_at(entry);
    }

    /// First estimate of a firing's amplitude, as if it were alone.
    void look_at(PendingFiring<Real>& entry) noexcept {
        Window x{};
        find_amplitude(entry, x);
        if (worth_a_look(entry)) entry.gain = static_cast<Real>(bank_.best_gain(entry.place, x));
    }

    void find_amplitude(PendingFiring<Real>& entry, Window& x) const noexcept {
        residuals_.fill(entry.bin - before_, entry.length, entry.expected, x);
        entry.amplitude = rehearsal_.without_itself(
            entry.bin, static_cast<Real>(amplitude_and_precision(entry, x).amplitude), cycles_learned());
    }

    /// After pattern or responses changed at once.
    void look_again() noexcept {
        for (int i = 0; i < pending_.count(); ++i)
            if (pending_[i].usable()) look_at(pending_[i]);
    }

    [[nodiscard]] ResponseBank::Match amplitude_and_precision(const PendingFiring<Real>& entry,
                                                              const Window& x) const noexcept {
        return entry.length == size_ ? bank_.match_whole(entry.place, x)
                                     : bank_.match_part(entry.place, x, entry.length, covariance_);
    }

    void describe(const PendingFiring<Real>& entry, FiringWork<Real>& firing) const noexcept {
        firing = FiringWork<Real>{};
        firing.bin = entry.bin;
        const int now_there = residuals_.firing_at(entry.bin);
        firing.place = now_there >= 0 ? now_there : entry.place;
        firing.phase_known = frame_known_;
        firing.phase_lost = frame_lost();
        firing.complete = entry.usable();
        const auto place = static_cast<std::size_t>(firing.place);
        firing.tdc_tick = residuals_.bins().tick_within(entry.bin, static_cast<Real>(grid_.tdc_offset[place]));
        firing.load = residuals_.charge_load(entry.bin);
        firing.cut = residuals_.was_cut(entry.bin, firing.place);
        const std::int64_t first = entry.bin - before_;
        firing.changing = !residuals_.same_fuel(first, entry.bin);
        firing.mixed = entry.length < size_ || !residuals_.same_fuel(first, first + size_);
        firing.speed_rpm = residuals_.speed_around(entry.bin);
        firing.expected = entry.expected;
        firing.rehearsal = rehearsal_.runs();
        firing.rehearsed = rehearsal_.over_for(entry.bin);
        firing.offset = levels_.offset(firing.place);
        firing.dead = levels_.is_dead(firing.place);
        firing.sized = expected_.known(residuals_.load_known());
    }

    /// Measures the oldest firing. The first misfires of an engine tell what misfires look like here, and are to be measured by that
    /// themselves.
    void estimate(FiringWork<Real>& firing, const Limits& limits) noexcept {
        measure(firing, limits);
        if (firing.mixed || firing.cut) return;
        weigh_hypotheses(window_);
        if (!bank_.prefers_another()) return;
        match();
        look_again();
        measure(firing, limits);
    }

    /// The amplitude of the oldest firing, after its stronger neighbours have been explained.
    void measure(FiringWork<Real>& firing, const Limits& limits) noexcept {
        PendingFiring<Real>& oldest = pending_[0];
        Window& x = window_;
        residuals_.fill(oldest.bin - before_, oldest.length, oldest.expected, x);
        const ResponseBank::Match match = amplitude_and_precision(oldest, x);
        oldest.amplitude = rehearsal_.without_itself(oldest.bin, static_cast<Real>(match.amplitude), cycles_learned());
        typename PendingFirings<Real>::Amplitudes neighbours;
        oldest.amplitude = pending_.oldest_amplitude(bank_, limits, levels_.dead(), neighbours);
        pending_.take_out_neighbours(bank_, neighbours, x);
        const Real variance = Real(1) / static_cast<Real>(match.precision);
        const Real usual_variance = Real(1) / static_cast<Real>(bank_.precision(oldest.place));
        // A pattern learned from n cycles scatters like the mean of n windows.
        Real doubt = residuals_.pattern().doubt(residuals_.point(oldest.bin));
        if (rehearsal_.holds(oldest.bin)) doubt /= Real(1) - rehearsal_.leverage(cycles_learned());
        firing.lost = oldest.amplitude + levels_.missing(oldest.place);
        firing.pattern_doubt = doubt;
        firing.known_variance = std::max(variance - usual_variance, Real(0));
        firing.lost_se = std::sqrt(usual_variance * (Real(1) + doubt) + firing.known_variance);
        firing.strange = static_cast<Real>(
            misfit_.of(x, bank_.response(oldest.place), static_cast<float>(oldest.amplitude), oldest.length));
        firing.acceleration = residuals_.acceleration(oldest.bin, firing.place);
    }

    /// Whether all kinds of response are worth trying: only where the one in use, or the size of the window, says that something
    /// may have happened. Saves two thirds of the work on healthy engines.
    [[nodiscard]] bool worth_a_look(const PendingFiring<Real>& entry) const noexcept {
        return entry.length == size_ && (entry.amplitude > Real(0.25) || !bank_.experienced());
    }

    /// Evidence on the kind of response counts only where a firing explains more than its neighbours do.
    void weigh_hypotheses(const Window& x) noexcept {
        const PendingFiring<Real>& oldest = pending_[0];
        if (oldest.gain <= Real(0) || !settled() || !pending_.oldest_leads()) return;
        if (last_gain_bin_ > oldest.bin - hold_ && last_gain_ > oldest.gain) return;
        last_gain_ = oldest.gain;
        last_gain_bin_ = oldest.bin;
        bank_.weigh(oldest.place, x);
    }

    /// Takes a firing that was not as the pattern has it (a misfire, or a dead cylinder that fired) out of what later firings
    /// and the pattern see.
    void remove_deviation() noexcept {
        const Real size = std::clamp(pending_[0].amplitude, Real(-1.5), Real(1.5));
        take_out_loss(residuals_, bank_, pending_[0], pending_[0].bin - before_, size);
        pending_.take_out_oldest(bank_, size);
    }

    /// Learns the scatter of windows from a healthy firing, the response from a misfire.
    void learn_window(const FiringWork<Real>& firing, const Feedback<Real>& feedback) noexcept {
        const PendingFiring<Real>& oldest = pending_[0];
        // A window that fits neither health nor misfire must not teach much (bounded influence).
        const Real trust = std::min(Real(1), Real(4) / std::max(firing.strange, Real(1e-3)));
        const bool dead = levels_.is_dead(oldest.place);
        const bool healthy = !feedback.misfire && feedback.probability < Real(0.5);
        // The pattern holds a dead cylinder as it is, so its windows scatter like healthy ones.
        // In a long steady state one cycle in a few tells enough.
        const int every = steady_cycles_ > 256 ? 4 : steady_cycles_ > 64 ? 2 : 1;
        const bool enough = cycles_learned() % every != 0;
        if (!enough && !firing.rehearsal && !firing.rehearsed && (dead ? feedback.misfire : healthy))
            covariance_.learn(window_, static_cast<float>(dead ? trust : trust * (Real(1) - feedback.probability)));
        if (dead || healthy) return;
        if (!firing.sized && settled()) expected_.learn_size(firing.lost, feedback.probability);
        if (firing.lost > Real(0.5) && firing.lost < Real(1.5)) learn_response(firing.lost, feedback.probability);
    }

    void learn_response(Real lost, Real trust) noexcept {
        const PendingFiring<Real>& oldest = pending_[0];
        const std::int64_t first = oldest.bin - before_;
        const int known = response_known(oldest.bin) + before_;
        if (!residuals_.bins().connected(first, first + known)) return;
        const auto response = measured_response(residuals_, pending_, bank_, first, known, lost);
        bank_.refine(oldest.place, response, known, static_cast<float>(trust));
    }

    /// Bins after TDC in which all that could have happened has been looked at: up to the first firing whose window is open.
    [[nodiscard]] int response_known(std::int64_t tdc_bin) const noexcept {
        std::int64_t next = newest_window() + 1;
        while (residuals_.firing_at(next) < 0) ++next;
        return std::min(static_cast<int>(next - tdc_bin), bank_.length() - before_);
    }

    /// Learns the pattern from all cycles that end before `bin`: their firings are judged.
    void learn_cycles(std::int64_t bin) noexcept {
        const BinHistory<Real>& bins = residuals_.bins();
        if (next_cycle_bin_ < 0 || !bins.holds(next_cycle_bin_)) {
            next_cycle_bin_ = bins.oldest_connected();
            if (next_cycle_bin_ < 0) return;
        }
        while (next_cycle_bin_ + grid_.bins <= bin) {
            if (!bins.connected(next_cycle_bin_ - 1, next_cycle_bin_ + grid_.bins + 1)) {
                ++next_cycle_bin_;
                continue;
            }
            learn_cycle(next_cycle_bin_);
            next_cycle_bin_ += grid_.bins;
        }
    }

    void learn_cycle(std::int64_t first) noexcept {
        const std::int64_t last = first + grid_.bins - 1;
        const std::uint32_t cut = residuals_.bins().cut(last);
        const std::uint32_t all = (1U << grid_.firings) - 1U;
        if (!residuals_.bins().same_cut(first, last) || cut == all) return;
        if (cut != cut_learned_) {
            // With other cylinders switched off this is another engine.
            begin_learning();
            cut_learned_ = cut;
            return;
        }
        const PatternPoint<Real> mean = learn_pattern(first);
        const int cycles = cycles_learned();
        const bool speed_changed = follow_speed(residuals_.speed_around(first + grid_.bins / 2));
        // Often at first and while the speed moves, seldom in a steady state, and both in the same cycle never.
        steady_cycles_ = speed_changed ? 0 : steady_cycles_ + 1;
        const int every = steady_cycles_ < 64 ? 16 : (steady_cycles_ < 256 ? 32 : 64);
        if (speed_changed || (cycles & (cycles - 1)) == 0 || cycles % every == 0) match();
        if (!covariance_.begun()) return;
        // The first cycles come once more, without the misfires in them.
        if (settled() && (cycles < 16 || cycles % every == every / 2))
            levels_.examine(learned_pattern(residuals_, expected_, bank_, grid_, first, mean));
        if (settled() && levels_.any_lost()) doubt_pattern(first, mean);
    }

    /// The response follows the mean speed of some cycles: an idle that swings, or a misfire, is no other speed. True where it
    /// moved enough to matter.
    [[nodiscard]] bool follow_speed(Real rpm) noexcept {
        constexpr int kCycles = 12;
        mean_rpm_ += (rpm - mean_rpm_) / Real(std::clamp(cycles_learned(), 1, kCycles));
        return bank_.set_speed(static_cast<float>(mean_rpm_));
    }

    void match() noexcept {
        bank_.choose(covariance_.learned());
        if (!covariance_.begun()) return;
        bank_.compose(covariance_);
        residuals_.set_ringing(static_cast<Real>(bank_.ringing().a), static_cast<Real>(bank_.ringing().b));
        if (!covariance_.factorise(bank_.doubt())) return;
        bank_.match(covariance_);
        misfit_.follow(covariance_, size_);
    }

    /// Moves the pattern where it, and not the cylinder, is what is wrong.
    void doubt_pattern(std::int64_t first, const PatternPoint<Real>& mean) noexcept {
        Real amplitude = 0;
        for (int n = 0; n < grid_.firings; ++n) {
            const int place = levels_.wrongly_accused(learned_pattern(residuals_, expected_, bank_, grid_, first, mean),
                                                      bank_, steady_cycles_ < kMovingCycles, amplitude);
            if (place < 0) return;
            move_pattern(place, amplitude);
        }
    }

    /// Puts the pattern where firings of a place are that lost `lost` of their work against it, and are healthy.
    void move_pattern(int place, Real lost) noexcept {
        if (lost == Real(0)) return;
        std::array<Real, kMaxBins> share{};
        levels_.add_losses(bank_, place, lost, share);
        residuals_.shift_pattern(share, expected_.learned_at_full_charge());
        look_again();
    }

    void begin_covariance(std::int64_t bin) noexcept {
        bank_.set_speed(static_cast<float>(residuals_.speed_around(bin)));
        bank_.compose(covariance_);
        // An angle error changes a bin's energy by twice the error over the bin's length.
        constexpr double kEdgeError_deg = 0.03;
        const Real edge =
            static_cast<Real>(2.0 * kEdgeError_deg / grid_.bin_deg) * residuals_.point(bin).energy / expected_work(bin);
        fill_window_prior(covariance_, bank_, grid_, static_cast<float>(edge));
        match();
    }

    static constexpr Real kFirstLimit = Real(3);  // healthy deviations: what is taken for lost too often costs little
    static constexpr int kMovingCycles = 12;

    HealthyCycle healthy_{};
    CycleGrid grid_{};
    bool two_stroke_ = false;
    bool frame_known_ = false;
    bool ever_known_ = false;
    int before_ = 0;                 // bins of the window before TDC
    int size_ = 0;                   // bins of the window
    int shortest_ = 0;               // that a window may be cut to at the end of the stream
    int hold_ = 0;                   // bins that a firing waits for its neighbours
    std::uint32_t cut_learned_ = 0;  // cylinders that were cut while the pattern was learned
    int steady_cycles_ = 0;          // learned since the speed changed
    std::int64_t next_cycle_bin_ = -1;
    Real mean_rpm_ = 0;
    Real last_gain_ = 0;
    std::int64_t last_gain_bin_ = 0;
    Window window_{};  // of the firing that take() gave
    WindowMisfit misfit_{};
    Real first_scatter_ = 0;
    int first_healthy_ = 0;
    Rehearsal<Real> rehearsal_{};
    ExpectedWork<Real> expected_{};
    PendingFirings<Real> pending_{};
    ResidualHistory<Real> residuals_{};
    WindowCovariance covariance_{};
    ResponseBank bank_{};
    CylinderLevels<Real> levels_{};
};

}  // namespace kurbel
