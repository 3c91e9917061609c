// The heart: from energy bins to the work that each firing lost.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/firing_work.hpp"
#include "kurbel/stage/first_losses.hpp"
#include "kurbel/stage/learned_engine.hpp"
#include "kurbel/stage/misfire_response.hpp"
#include "kurbel/stage/pending_firings.hpp"
#include "kurbel/stage/rehearsal.hpp"
#include "kurbel/stage/second_look.hpp"
#include "kurbel/stage/segmenter.hpp"

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
        two_stroke_ = config.engine.strokes == 2;
        before_ = static_cast<int>(std::ceil(90.0 / grid.bin_deg - 1e-9));
        size_ = std::min(kMaxWindow, before_ + static_cast<int>(std::floor(420.0 / grid.bin_deg + 1e-9)));
        size_ = std::max(size_, before_ + 1);
        hold_ = static_cast<int>(std::lround(360.0 / grid.bin_deg));
        engine_.configure(config, grid, before_, size_, hold_);
        reset();
    }

    void reset() noexcept {
        engine_.reset();
        pending_.clear();
        rehearsal_.reset();
        next_cycle_bin_ = -1;
        ever_known_ = false;
        frame_known_ = false;
        second_look_.begin();
    }

    /// Takes one bin with the channel values in force at its end; `load` NaN where unknown.
    void push(const Bin<Real>& bin, Real load, std::uint32_t cut, bool frame_known) noexcept {
        follow_frame(bin, frame_known);
        if (load == load && !engine_.residuals.load_known()) {
            engine_.residuals.expect_load();
            engine_.begin_learning();
        }
        engine_.residuals.push(bin, load, cut);
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
            const bool dead = engine_.levels.is_dead(place);
            const bool deviates = feedback.misfire != dead || (dead && feedback.loss_ratio > kClearlyMore);
            engine_.levels.note(place, deviates ? pending_[0].amplitude : Real(0));
            const Real usual = dead ? feedback.probability : Real(1) - feedback.probability;
            if (feedback.learn && !firing.rehearsal)
                engine_.levels.follow_life(place, pending_[0].amplitude, deviates ? Real(0) : usual,
                                           feedback.loss_ratio);
            if (rehearsal_.runs()) rehearsal_.note(pending_[0].bin, deviates ? pending_[0].amplitude : Real(0));
            if (deviates) remove_deviation();
        }
        pending_.drop_oldest();
        if (firing.complete) mend_pattern(firing, feedback.healthy_level);
        if (!frame_lost()) learn_cycles(firing.bin - before_);
        if (rehearsal_.runs() && !ready()) go_back();
    }

    /// After the last bin: opens the windows that still lack their tail. They are judged by what is there, with the larger error
    /// that this has; one that ends with its TDC is given out incomplete.
    void finish() noexcept {
        for (std::int64_t bin = newest_window() + 1; bin <= engine_.residuals.bins().newest(); ++bin) {
            const auto length = static_cast<int>(engine_.residuals.bins().newest() - bin) + before_;
            open_window(bin, length > before_ ? length : 0);
        }
    }

    /// The next firings will be given out once more: what is learned of them counts, not what is said of them.
    [[nodiscard]] bool rehearses() const noexcept { return rehearsal_.runs(); }
    /// How the firings scatter that will be, and how many have told.
    [[nodiscard]] Real first_scatter() const noexcept { return first_scatter_; }
    [[nodiscard]] int first_healthy() const noexcept { return first_healthy_; }
    /// How many rehearsals have ended.
    [[nodiscard]] int rehearsals() const noexcept { return rehearsal_.passes(); }

    [[nodiscard]] int cycles_learned() const noexcept { return engine_.cycles(); }
    [[nodiscard]] bool settled() const noexcept { return engine_.settled(); }

    /// Cycles that the first firings wait for the engine to be known.
    static constexpr int kLearningCycles = LearnedEngine<Real>::kLearningCycles;

  private:
    /// While the engine is not known yet its firings wait, to be judged by what it turns out to be; for as long as it may take to
    /// know it, and as there is room.
    [[nodiscard]] bool holds_back() const noexcept {
        const std::int64_t first = pending_[0].bin - before_;
        return !settled() && pending_.has_room_for(grid_.firings) && engine_.residuals.bins().holds(first) &&
               engine_.residuals.bins().newest() - first < BinHistory<Real>::kRing - grid_.bins - 2 &&
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
        learn_again(false);
        learn_from_waiting(first);
        engine_.residuals.put_back(first_waiting());
        learn_again(false);
        engine_.match();
        find_first_losses(first);
        learn_again(true);
        engine_.residuals.put_back(first_waiting());
        first_scatter_ = first.deviation();
        first_healthy_ = first.others();
        rehearsal_.begin(pending_[0].bin, newest_window() - hold_);
        for (int n = 0; n < first.losses(); ++n) rehearsal_.note(pending_[first.firing(n)].bin, first.lost(n));
        look_again();
    }

    [[nodiscard]] std::int64_t first_waiting() const noexcept { return pending_[0].bin - before_; }

    /// Asks which kind of response explains most of what the waiting firings show together.
    void try_hypotheses(FirstLosses<Real>& first) noexcept {
        if (!engine_.bank.untaught()) return;
        for (int h = 0; h < engine_.bank.hypotheses(); ++h) {
            engine_.assume(h);
            find_losses(first);
            engine_.bank.expect(h, static_cast<float>(first.gain(pending_, engine_.bank)));
        }
        engine_.bank.assume(0);
        engine_.match();
    }

    void find_losses(FirstLosses<Real>& first) noexcept {
        Window x{};
        for (int i = 0; i < pending_.count(); ++i)
            if (pending_[i].usable()) find_amplitude(pending_[i], x);
        first.find(pending_, engine_.bank, rehearsal_.leverage(cycles_learned()), engine_.levels.dead(), grid_.bins,
                   engine_.residuals.bins().oldest_connected() + before_, engine_.sized(), kFirstLimit);
    }

    /// Takes the misfires that the waiting firings show together out of the bins.
    void find_first_losses(FirstLosses<Real>& first) noexcept {
        find_losses(first);
        for (int n = 0; n < first.losses(); ++n) {
            const PendingFiring<Real>& entry = pending_[first.firing(n)];
            take_out_loss(engine_.residuals, engine_.bank, entry, entry.bin - before_, first.lost(n));
        }
    }

    /// Learns how windows scatter from those that waited and lost nothing.
    void learn_from_waiting(const FirstLosses<Real>& first) noexcept {
        // The pattern was learned from these windows, too.
        const float own = std::sqrt(1.0F - static_cast<float>(rehearsal_.leverage(cycles_learned())));
        Window x{};
        for (int i = 0; i < pending_.count(); ++i) {
            const PendingFiring<Real>& entry = pending_[i];
            if (entry.length < size_ || first.has_lost(i)) continue;
            engine_.residuals.fill(entry.bin - before_, entry.length, entry.expected, x);
            for (float& value : x) value /= own;
            engine_.covariance.learn(x, 1.0F);
        }
    }

    /// Ends a rehearsal: what it took for misfires is taken out of the pattern, and all firings come anew.
    void go_back() noexcept {
        rehearsal_.end();
        learn_again(true);
        engine_.residuals.put_back(rehearsal_.first() - before_);
        engine_.match();
        reopen_windows(rehearsal_.first());
    }

    /// Learns the same cycles once more, from what is left of them without misfires.
    void learn_again(bool examine) noexcept {
        const int cycles = cycles_learned();
        const std::int64_t first = next_cycle_bin_ - cycles * grid_.bins;
        if (engine_.residuals.bins().connected(first - 1, next_cycle_bin_ + 1))
            engine_.learn_again(first, cycles, examine);
    }

    /// Follows what is known of the cycle's frame: a half found to be the other one, or a loss.
    void follow_frame(const Bin<Real>& bin, bool frame_known) noexcept {
        const bool was_lost = frame_lost();
        const bool any = engine_.residuals.bins().any();
        if (bin.restart) {
            next_cycle_bin_ = -1;
            // Without a known phase the halves may have changed places: what was learned does not hold. Where a cam has told
            // it before, it will do so again soon.
            if (any && !frame_known && !ever_known_ && !two_stroke_) engine_.begin_learning();
        }
        const bool turned = bin.turn != engine_.residuals.turn() && any;
        engine_.residuals.set_turn(bin.turn);
        frame_known_ = frame_known;
        ever_known_ = ever_known_ || frame_known;
        if (!turned || bin.restart) return;
        if (!was_lost) engine_.residuals.turn_pattern();
        engine_.levels.turned();
        if (pending_.count() > 0) reopen_windows(pending_[0].bin);
    }

    /// The phase was known, is not any more, and will be told again.
    [[nodiscard]] bool frame_lost() const noexcept { return ever_known_ && !frame_known_; }

    /// Puts the pattern where healthy firings of this place are: they lost `level` against it.
    void mend_pattern(const FiringWork<Real>& firing, Real level) noexcept {
        if (engine_.levels.revives(firing.place, level))
            engine_.move_pattern(firing.place, level);
        else if (level != Real(0) && !engine_.levels.is_dead(firing.place))
            engine_.correct_pattern(firing.place, level, firing.expected, engine_.residuals.point(firing.bin));
        else
            return;
        look_again();
    }

    /// Looks for the firings from bin `from` on once more: the frame turned by half a cycle, or a rehearsal has ended.
    void reopen_windows(std::int64_t from) noexcept {
        pending_.clear();
        for (std::int64_t bin = from; bin <= newest_window(); ++bin) open_window(bin, size_);
    }

    /// TDC bin of the newest window that is whole.
    [[nodiscard]] std::int64_t newest_window() const noexcept {
        return engine_.residuals.bins().newest() - size_ + before_;
    }

    /// A firing whose TDC bin is `bin` is looked at for the first time, if one is there. `length`: bins of its window.
    void open_window(std::int64_t bin, int length) noexcept {
        if (!engine_.residuals.bins().holds(bin) || pending_.full()) return;
        const int place = engine_.residuals.firing_at(bin);
        if (place < 0) return;
        PendingFiring<Real>& entry = pending_.append();
        entry.bin = bin;
        entry.place = place;
        entry.expected = engine_.expected_work(bin);
        if (length == 0 || !engine_.residuals.bins().connected(bin - before_, bin - before_ + length)) return;
        entry.length = length;
        if (!engine_.covariance.begun()) engine_.begin_covariance(bin);
        look_at(entry);
    }

    /// First estimate of a firing's amplitude, as if it were alone.
    void look_at(PendingFiring<Real>& entry) noexcept {
        Window x{};
        find_amplitude(entry, x);
        if (worth_a_look(entry)) entry.gain = static_cast<Real>(engine_.bank.best_gain(entry.place, x));
    }

    void find_amplitude(PendingFiring<Real>& entry, Window& x) const noexcept {
        engine_.residuals.fill(entry.bin - before_, entry.length, entry.expected, x);
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
        return entry.length == size_ ? engine_.bank.match_whole(entry.place, x)
                                     : engine_.bank.match_part(entry.place, x, entry.length, engine_.covariance);
    }

    /// Measures the oldest firing anew beside the driveline's swing, where it swings, and takes that out of its window. Returns the
    /// precision.
    float free_swing(PendingFiring<Real>& oldest, const ResponseBank::Match& match, Window& x) noexcept {
        if (oldest.length < size_ || !engine_.covariance.learned()) return match.precision;
        const auto& response = engine_.bank.response(oldest.place);
        const DrivelineSwing::Modes variance = engine_.swing.variance(x, response);
        engine_.swing.follow(variance);
        if (!DrivelineSwing::any(variance)) return match.precision;
        DrivelineSwing::Modes states{};
        const ResponseBank::Match beside = engine_.swing.match(engine_.bank.match_whole(oldest.place, x), x, response,
                                                               engine_.covariance, variance, states);
        oldest.amplitude = rehearsal_.without_itself(oldest.bin, static_cast<Real>(beside.amplitude), cycles_learned());
        engine_.swing.take_out(states, x);
        return beside.precision;
    }

    void describe(const PendingFiring<Real>& entry, FiringWork<Real>& firing) const noexcept {
        firing = FiringWork<Real>{};
        firing.bin = entry.bin;
        const int now_there = engine_.residuals.firing_at(entry.bin);
        firing.place = now_there >= 0 ? now_there : entry.place;
        firing.phase_known = frame_known_;
        firing.phase_lost = frame_lost();
        firing.complete = entry.usable();
        const auto place = static_cast<std::size_t>(firing.place);
        firing.tdc_tick = engine_.residuals.bins().tick_within(entry.bin, static_cast<Real>(grid_.tdc_offset[place]));
        firing.load = engine_.residuals.charge_load(entry.bin);
        firing.cut = engine_.residuals.was_cut(entry.bin, firing.place);
        const std::int64_t first = entry.bin - before_;
        firing.changing = !engine_.residuals.same_fuel(first, entry.bin);
        firing.short_window = entry.length < size_;
        firing.mixed = firing.short_window || !engine_.residuals.same_fuel(first, first + size_);
        firing.speed_rpm = engine_.residuals.speed_around(entry.bin);
        firing.expected = entry.expected;
        firing.rehearsal = rehearsal_.runs();
        firing.rehearsed = rehearsal_.over_for(entry.bin);
        firing.offset = engine_.levels.offset(firing.place);
        firing.dead = engine_.levels.is_dead(firing.place);
        firing.sized = engine_.sized();
    }

    /// Measures the oldest firing. The first misfires of an engine tell what misfires look like here, and are to be measured by that
    /// themselves.
    void estimate(FiringWork<Real>& firing, const Limits& limits) noexcept {
        measure(firing, limits);
        if (!firing.cut && oldest_edges_differ()) {
            engine_.match();
            look_again();
            measure(firing, limits);
        }
        if (firing.mixed || firing.cut) return;
        weigh_hypotheses(window_);
        if (engine_.bank.prefers_another()) {
            engine_.match();
            look_again();
            measure(firing, limits);
        }
        firing.loss_ratio = second_look_.loss_ratio(engine_, pending_, firing.lost, limits, grid_, before_);
        second_look_.follow(firing.strange, grid_.firings);
    }

    /// Whether the edges of the oldest firing's window are off by more or less than windows are matched for.
    [[nodiscard]] bool oldest_edges_differ() noexcept {
        const PendingFiring<Real>& oldest = pending_[0];
        return engine_.covariance.learned() &&
               engine_.follow_edges(oldest.bin, window_, oldest.place, static_cast<float>(oldest.amplitude),
                                    oldest.length);
    }

    /// The amplitude of the oldest firing, after its stronger neighbours have been explained.
    void measure(FiringWork<Real>& firing, const Limits& limits) noexcept {
        PendingFiring<Real>& oldest = pending_[0];
        Window& x = window_ = Window{};
        engine_.residuals.fill(oldest.bin - before_, oldest.length, oldest.expected, x);
        const ResponseBank::Match match = amplitude_and_precision(oldest, x);
        oldest.amplitude = rehearsal_.without_itself(oldest.bin, static_cast<Real>(match.amplitude), cycles_learned());
        typename PendingFirings<Real>::Amplitudes neighbours;
        oldest.amplitude = pending_.oldest_amplitude(engine_.bank, limits, engine_.levels.dead(), neighbours);
        pending_.take_out_neighbours(engine_.bank, neighbours, x);
        const Real variance = Real(1) / static_cast<Real>(free_swing(oldest, match, x));
        const Real usual_variance = Real(1) / static_cast<Real>(engine_.bank.precision(oldest.place));
        // A pattern learned from n cycles scatters like the mean of n windows.
        Real doubt = engine_.residuals.pattern().doubt(engine_.residuals.point(oldest.bin));
        if (rehearsal_.holds(oldest.bin)) doubt /= Real(1) - rehearsal_.leverage(cycles_learned());
        firing.lost = oldest.amplitude + engine_.levels.missing(oldest.place);
        firing.pattern_doubt = doubt;
        firing.known_variance = std::max(variance - usual_variance, Real(0));
        firing.lost_se = std::sqrt(usual_variance * (Real(1) + doubt) + firing.known_variance);
        if (engine_.edges.matched() > 0.0F)
            firing.known_variance +=
                static_cast<Real>(engine_.edges.matched() * engine_.bank.edge_variance(oldest.place));
        firing.strange = static_cast<Real>(engine_.misfit.of(x, engine_.bank.response(oldest.place),
                                                             static_cast<float>(oldest.amplitude), oldest.length));
        firing.acceleration = engine_.residuals.acceleration(oldest.bin, firing.place);
    }

    /// Whether all kinds of response are worth trying: only where the one in use, or the size of the window, says that something
    /// may have happened. Saves two thirds of the work on healthy engines.
    [[nodiscard]] bool worth_a_look(const PendingFiring<Real>& entry) const noexcept {
        return entry.length == size_ && (entry.amplitude > Real(0.25) || !engine_.bank.experienced());
    }

    /// Evidence on the kind of response counts only where a firing explains more than its neighbours do.
    void weigh_hypotheses(const Window& x) noexcept {
        const PendingFiring<Real>& oldest = pending_[0];
        if (oldest.gain <= Real(0) || !settled() || !pending_.oldest_leads()) return;
        if (last_gain_bin_ > oldest.bin - hold_ && last_gain_ > oldest.gain) return;
        last_gain_ = oldest.gain;
        last_gain_bin_ = oldest.bin;
        engine_.bank.weigh(oldest.place, x);
    }

    /// Takes a firing that was not as the pattern has it (a misfire, or a dead cylinder that fired) out of what later firings
    /// and the pattern see.
    void remove_deviation() noexcept {
        const Real size = std::clamp(pending_[0].amplitude, Real(-1.5), Real(1.5));
        take_out_loss(engine_.residuals, engine_.bank, pending_[0], pending_[0].bin - before_, size);
        pending_.take_out_oldest(engine_.bank, size);
    }

    /// Learns the scatter of windows from a healthy firing, the response from a misfire.
    void learn_window(const FiringWork<Real>& firing, const Feedback<Real>& feedback) noexcept {
        const PendingFiring<Real>& oldest = pending_[0];
        // A window that fits neither health nor misfire must not teach much (bounded influence).
        // What is measured worse than usual tells less.
        const Real told = std::max(Real(1) - firing.known_variance / (firing.lost_se * firing.lost_se), Real(0));
        const Real trust = told * std::min(Real(1), Real(4) / std::max(firing.strange, Real(1e-3)));
        const bool dead = engine_.levels.is_dead(oldest.place);
        const bool healthy = !feedback.misfire && feedback.probability < Real(0.5);
        // The pattern holds a dead cylinder as it is, so its windows scatter like healthy ones.
        // In a long steady state one cycle in a few tells enough.
        const int every = engine_.steady_cycles > 256 ? 4 : engine_.steady_cycles > 64 ? 2 : 1;
        const bool enough = cycles_learned() % every != 0;
        if (!enough && !firing.rehearsal && !firing.rehearsed && (dead ? feedback.misfire : healthy))
            engine_.covariance.learn(window_,
                                     static_cast<float>(dead ? trust : trust * (Real(1) - feedback.probability)));
        if (dead || healthy) return;
        if (!firing.sized && settled()) engine_.expected.learn_size(firing.lost, told * feedback.probability);
        if (firing.lost > Real(0.5) && firing.lost < Real(1.5))
            learn_response(firing.lost, told * feedback.probability);
    }

    void learn_response(Real lost, Real trust) noexcept {
        const PendingFiring<Real>& oldest = pending_[0];
        const std::int64_t first = oldest.bin - before_;
        const int known = response_known(oldest.bin) + before_;
        if (!engine_.residuals.bins().connected(first, first + known)) return;
        const auto response = measured_response(engine_.residuals, pending_, engine_.bank, first, known, lost);
        engine_.bank.refine(oldest.place, response, known, static_cast<float>(trust));
    }

    /// Bins after TDC in which all that could have happened has been looked at: up to the first firing whose window is open.
    [[nodiscard]] int response_known(std::int64_t tdc_bin) const noexcept {
        std::int64_t next = newest_window() + 1;
        while (engine_.residuals.firing_at(next) < 0) ++next;
        return std::min(static_cast<int>(next - tdc_bin), engine_.bank.length() - before_);
    }

    /// Learns the pattern from all cycles that end before `bin`: their firings are judged.
    void learn_cycles(std::int64_t bin) noexcept {
        const BinHistory<Real>& bins = engine_.residuals.bins();
        if (next_cycle_bin_ < 0 || !bins.holds(next_cycle_bin_)) {
            next_cycle_bin_ = bins.oldest_connected();
            if (next_cycle_bin_ < 0) return;
        }
        while (next_cycle_bin_ + grid_.bins <= bin) {
            if (!bins.connected(next_cycle_bin_ - 1, next_cycle_bin_ + grid_.bins + 1)) {
                ++next_cycle_bin_;
                continue;
            }
            if (engine_.learn_cycle(next_cycle_bin_)) look_again();
            next_cycle_bin_ += grid_.bins;
        }
    }

    static constexpr Real kClearlyMore = Real(7);  // log-likelihood ratio: as if a thousandth of firings lost twice
    static constexpr Real kFirstLimit = Real(3);   // healthy deviations: what is taken for lost too often costs little

    CycleGrid grid_{};
    bool two_stroke_ = false;
    bool frame_known_ = false;
    bool ever_known_ = false;
    int before_ = 0;  // bins of the window before TDC
    int size_ = 0;    // bins of the window
    int hold_ = 0;    // bins that a firing waits for its neighbours
    std::int64_t next_cycle_bin_ = -1;
    Real last_gain_ = 0;
    std::int64_t last_gain_bin_ = 0;
    Window window_{};  // of the firing that take() gave
    Real first_scatter_ = 0;
    int first_healthy_ = 0;
    Rehearsal<Real> rehearsal_{};
    SecondLook<Real> second_look_{};
    PendingFirings<Real> pending_{};
    LearnedEngine<Real> engine_{};
};

}  // namespace kurbel
