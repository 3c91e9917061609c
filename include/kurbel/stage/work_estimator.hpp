// The heart: from energy bins to the work that each firing lost.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/firing_windows.hpp"
#include "kurbel/stage/firing_work.hpp"
#include "kurbel/stage/first_look.hpp"
#include "kurbel/stage/known_losses.hpp"
#include "kurbel/stage/misfire_response.hpp"
#include "kurbel/stage/second_look.hpp"
#include "kurbel/stage/segmenter.hpp"

namespace kurbel {

/// Learns the healthy pattern of the cycle and estimates, per firing, the share of work that is missing: the generalised
/// least-squares amplitude of the response to one lost combustion in the window from 90 degrees before to 420 after TDC.
/// A cylinder that was dead while the pattern was learned is part of it; CylinderLevels finds that, and its firings are
/// then measured from "all lost" instead of from "healthy". Holds a firing back until the firings of the following revolution
/// are in, too (780 crank degrees in all); the first ones until the engine is known (kFirstCycles more), and those come twice.
///
/// Use per bin: push(), then while take(): judge, learn(). No allocation; one object per stream.
template <class Real>
class WorkEstimator {
  public:
    using Limits = typename PendingFirings<Real>::Limits;

    void configure(const Config& config, const CycleGrid& grid) noexcept {
        grid_ = grid;
        two_stroke_ = config.engine.strokes == 2;
        windows_.before = static_cast<int>(std::ceil(90.0 / grid.bin_deg - 1e-9));
        windows_.size =
            std::min(kMaxWindow, windows_.before + static_cast<int>(std::floor(420.0 / grid.bin_deg + 1e-9)));
        windows_.size = std::max(windows_.size, windows_.before + 1);
        hold_ = static_cast<int>(std::lround(360.0 / grid.bin_deg));
        windows_.engine.configure(config, grid, windows_.before, windows_.size, hold_);
        reset();
    }

    void reset() noexcept {
        windows_.reset();
        next_cycle_bin_ = -1;
        ever_known_ = false;
        frame_known_ = false;
        second_look_.begin();
        whole_loss_ = Real(1);
    }

    /// Takes one bin with the channel values in force at its end; `load` NaN where unknown.
    void push(const Bin<Real>& bin, Real load, std::uint32_t cut, bool frame_known) noexcept {
        follow_frame(bin, frame_known);
        if (load == load && !windows_.engine.residuals.load_known()) {
            windows_.engine.residuals.expect_load(load);
            windows_.engine.begin_learning();
            if (windows_.pending.count() > 0) windows_.reopen(windows_.pending[0].bin);
        }
        windows_.engine.residuals.push(bin, load, cut);
        windows_.open(windows_.newest(), windows_.size);
        if (!settled() && !frame_lost()) learn_ahead();
    }

    /// Whether take() has one.
    [[nodiscard]] bool ready(bool all = false) const noexcept {
        return windows_.pending.count() > 0 &&
               (all || (windows_.newest() >= windows_.pending[0].bin + hold_ && !holds_back()));
    }

    /// Takes the next firing that is ready. `limits`: share of lost work above which a firing counts as misfire, per place.
    /// `all`: the stream has ended, give out what is held back.
    [[nodiscard]] bool take(FiringWork<Real>& firing, const Limits& limits, bool all = false) noexcept {
        if (!ready(all)) return false;
        describe(windows_.pending[0], firing);
        if (firing.complete) estimate(firing, limits);
        return true;
    }

    /// Ends the firing that take() gave: learns from it as told. Call once after each take().
    void learn(const FiringWork<Real>& firing, const Feedback<Real>& feedback) noexcept {
        const int place = windows_.pending[0].place;
        if (firing.complete) {
            if (feedback.learn) learn_window(firing, feedback);
            const bool dead = windows_.engine.levels.is_dead(place);
            const bool known = windows_.pending[0].known;
            if (known) windows_.pending[0].amplitude = dead ? Real(0) : Real(1);
            const bool deviates = known ? !dead
                                        : (feedback.misfire || (firing.cut && firing.lost > Real(0.5))) != dead ||
                                              (dead && feedback.loss_ratio > kClearlyMore);
            if (!known) windows_.engine.levels.note(place, deviates ? windows_.pending[0].amplitude : Real(0));
            const Real usual = dead ? feedback.probability : Real(1) - feedback.probability;
            // How those scatter that were rehearsed has been told.
            if (feedback.learn && !firing.rehearsal)
                windows_.engine.levels.follow_life(place, windows_.pending[0].amplitude,
                                                   deviates || firing.rehearsed ? Real(0) : usual, feedback.loss_ratio);
            if (windows_.rehearsal.runs() && !known)
                windows_.rehearsal.note(windows_.pending[0].bin, deviates ? windows_.pending[0].amplitude : Real(0));
            if (deviates) remove_deviation();
        }
        windows_.pending.drop_oldest();
        if (firing.complete) mend_pattern(firing, feedback.healthy_level);
        if (!frame_lost()) learn_cycles(firing.bin - windows_.before);
        if (windows_.rehearsal.runs() && !ready()) go_back();
    }

    /// Before the last bins: if the engine is still to be learned, what is known of it has to do. A rehearsal may follow.
    void settle() noexcept {
        if (settled() || frame_lost() || !windows_.engine.may_do()) return;
        windows_.engine.make_do();
        learn_ahead();
    }

    /// After the last bin: opens the windows that still lack their tail. They are judged by what is there, with the larger error
    /// that this has; one that ends with its TDC is given out incomplete.
    void finish() noexcept {
        for (std::int64_t bin = windows_.newest() + 1; bin <= windows_.engine.residuals.bins().newest(); ++bin) {
            const auto length = static_cast<int>(windows_.engine.residuals.bins().newest() - bin) + windows_.before;
            windows_.open(bin, length > windows_.before ? length : 0);
        }
    }

    /// The next firings will be given out once more: what is learned of them counts, not what is said of them.
    [[nodiscard]] bool rehearses() const noexcept { return windows_.rehearsal.runs(); }
    /// What was found among the firings that are to be rehearsed. To be asked before the first of them is taken.
    [[nodiscard]] FirstFindings<Real> first_findings() const noexcept {
        FirstFindings<Real> found{first_scatter_, first_healthy_, {}, {}};
        for (int i = 0; i < windows_.pending.count(); ++i) {
            if (windows_.pending[i].known) continue;
            const auto place = static_cast<std::size_t>(windows_.pending[i].place);
            ++found.firings[place];
            if (windows_.rehearsal.taken(windows_.pending[i].bin) != Real(0)) ++found.lost[place];
        }
        return found;
    }
    /// How many rehearsals have ended.
    [[nodiscard]] int rehearsals() const noexcept { return windows_.rehearsal.passes(); }

    [[nodiscard]] int cycles_learned() const noexcept { return windows_.engine.cycles(); }
    [[nodiscard]] bool settled() const noexcept { return windows_.engine.settled(); }

  private:
    /// While the engine is not known yet its firings wait, to be judged by what it turns out to be; for as long as it may take to
    /// know it, and as there is room.
    [[nodiscard]] bool holds_back() const noexcept {
        const std::int64_t first = windows_.pending[0].bin - windows_.before;
        return !settled() && windows_.pending.has_room_for(grid_.firings) &&
               windows_.engine.residuals.bins().holds(first) &&
               windows_.engine.residuals.bins().newest() - first < BinHistory<Real>::kRing - grid_.bins - 2 &&
               windows_.newest() < windows_.pending[0].bin + hold_ + kFirstCycles * grid_.bins;
    }

    /// Learns from cycles whose firings have not been judged yet. Once that is enough, those that waited are looked at together and
    /// then gone through several times.
    void learn_ahead() noexcept {
        learn_cycles(windows_.newest());  // no further: what happens in them is to be seen whole
        if (windows_.pending.count() == 0) return;
        // Firings before the first cycle that taught something (a starter's) need not wait for it.
        const std::int64_t learned_from = next_cycle_bin_ - windows_.engine.cycles() * grid_.bins;
        if (!holds_back() && windows_.engine.may_do() && windows_.pending[0].bin >= learned_from)
            windows_.engine.make_do();
        if (!settled()) return;
        FirstLook<Real> look(windows_, grid_, hold_, next_cycle_bin_);
        look.take();
        first_scatter_ = look.scatter();
        first_healthy_ = look.healthy();
    }

    /// Ends a rehearsal: what it took for misfires is taken out of the pattern, and all firings come anew.
    void go_back() noexcept {
        windows_.rehearsal.end();
        // The last cycles reach to firings that wait still: what the first look took for lost of them is not to be learned either.
        for (int i = 0; i < windows_.pending.count(); ++i) {
            const PendingFiring<Real>& entry = windows_.pending[i];
            const Real lost = entry.known ? Real(1) : windows_.rehearsal.taken(entry.bin);
            if (entry.usable() && lost != Real(0))
                take_out_loss(windows_.engine.residuals, windows_.engine.bank, entry, entry.bin - windows_.before,
                              lost);
        }
        windows_.learn_again(next_cycle_bin_, grid_.bins, true);
        windows_.engine.residuals.put_back(windows_.rehearsal.first() - windows_.before);
        windows_.engine.match();
        windows_.reopen(windows_.rehearsal.first());
    }

    /// Follows what is known of the cycle's frame: a half found to be the other one, or a loss.
    void follow_frame(const Bin<Real>& bin, bool frame_known) noexcept {
        const bool was_lost = frame_lost();
        const bool any = windows_.engine.residuals.bins().any();
        if (bin.restart) {
            next_cycle_bin_ = -1;
            // Without a known phase the halves may have changed places: what was learned does not hold. Where a cam has told
            // it before, it will do so again soon.
            if (any && !frame_known && !ever_known_ && !two_stroke_) windows_.engine.begin_learning();
        }
        const bool turned = bin.turn != windows_.engine.residuals.turn() && any;
        windows_.engine.residuals.set_turn(bin.turn);
        frame_known_ = frame_known;
        ever_known_ = ever_known_ || frame_known;
        if (!turned || bin.restart) return;
        if (!was_lost) windows_.engine.residuals.turn_pattern();
        windows_.engine.levels.turned();
        if (windows_.pending.count() > 0) windows_.reopen(windows_.pending[0].bin);
    }

    /// The phase was known, is not any more, and will be told again.
    [[nodiscard]] bool frame_lost() const noexcept { return ever_known_ && !frame_known_; }

    /// Puts the pattern where healthy firings of this place are: they lost `level` against it.
    void mend_pattern(const FiringWork<Real>& firing, Real level) noexcept {
        const bool freed = level != Real(0) && windows_.engine.levels.is_dead(firing.place);
        if (freed) windows_.engine.levels.free(firing.place);
        if (freed || windows_.engine.levels.revives(firing.place, level))
            windows_.engine.move_pattern(firing.place, level);
        else if (level != Real(0))
            windows_.engine.correct_pattern(firing.place, level, firing.expected,
                                            windows_.engine.residuals.point(firing.bin));
        else
            return;
        windows_.look_again();
    }

    /// Measures the oldest firing anew beside the driveline's swing, where it swings, and takes that out of its window. Returns the
    /// precision.
    float free_swing(PendingFiring<Real>& oldest, const ResponseBank::Match& match, Window& x) noexcept {
        if (oldest.length < windows_.size || !windows_.engine.covariance.learned()) return match.precision;
        const auto& response = windows_.engine.bank.response(oldest.place);
        const DrivelineSwing::Modes variance =
            windows_.engine.swing.variance(x, response, windows_.engine.torque_step(oldest.bin));
        windows_.engine.swing.follow(variance);
        if (!DrivelineSwing::any(variance)) return match.precision;
        DrivelineSwing::Modes states{};
        const ResponseBank::Match beside =
            windows_.engine.swing.match(windows_.engine.bank.match_whole(oldest.place, x), x, response,
                                        windows_.engine.covariance, variance, states);
        oldest.amplitude = windows_.alone(oldest, static_cast<Real>(beside.amplitude));
        windows_.engine.swing.take_out(states, x);
        return beside.precision;
    }

    void describe(const PendingFiring<Real>& entry, FiringWork<Real>& firing) const noexcept {
        firing = FiringWork<Real>{};
        firing.bin = entry.bin;
        const int now_there = windows_.engine.residuals.firing_at(entry.bin);
        firing.place = now_there >= 0 ? now_there : entry.place;
        firing.phase_known = frame_known_;
        firing.phase_lost = frame_lost();
        firing.complete = entry.usable();
        const auto place = static_cast<std::size_t>(firing.place);
        firing.tdc_tick =
            windows_.engine.residuals.bins().tick_within(entry.bin, static_cast<Real>(grid_.tdc_offset[place]));
        firing.load = windows_.engine.residuals.charge_load(entry.bin);
        firing.cut = windows_.engine.residuals.was_cut(entry.bin, firing.place);
        const std::int64_t first = entry.bin - windows_.before;
        firing.changing = !windows_.engine.same_engine(first - grid_.bins, entry.bin);
        firing.short_window = entry.length < windows_.size;
        firing.mixed = firing.short_window || !windows_.engine.residuals.same_fuel(first, first + windows_.size);
        firing.speed_rpm = windows_.engine.residuals.speed_around(entry.bin);
        firing.expected = entry.expected;
        firing.rehearsal = windows_.rehearsal.runs();
        firing.rehearsed = windows_.rehearsal.over_for(entry.bin);
        firing.offset = windows_.engine.levels.offset(firing.place);
        firing.dead = windows_.engine.levels.is_dead(firing.place);
        firing.sized = windows_.engine.sized();
    }

    /// Measures the oldest firing. The first misfires of an engine tell what misfires look like here, and are to be measured by that
    /// themselves.
    void estimate(FiringWork<Real>& firing, const Limits& limits) noexcept {
        measure(firing, limits);
        if (!firing.cut && oldest_edges_differ()) {
            windows_.engine.match();
            windows_.look_again();
            measure(firing, limits);
        }
        if (firing.mixed || firing.cut) return;
        weigh_hypotheses(window_);
        if (windows_.engine.bank.prefers_another()) {
            windows_.engine.match();
            windows_.look_again();
            measure(firing, limits);
        }
        firing.loss_ratio =
            second_look_.loss_ratio(windows_.engine, windows_.pending, firing.lost, limits, grid_, windows_.before);
        second_look_.follow(firing.strange, grid_.firings);
    }

    /// Whether the edges of the oldest firing's window are off by more or less than windows are matched for.
    [[nodiscard]] bool oldest_edges_differ() noexcept {
        const PendingFiring<Real>& oldest = windows_.pending[0];
        return windows_.engine.covariance.learned() &&
               windows_.engine.follow_edges(oldest.bin, window_, oldest.place, static_cast<float>(oldest.amplitude),
                                            oldest.length);
    }

    /// The amplitude of the oldest firing, after its stronger neighbours have been explained.
    void measure(FiringWork<Real>& firing, const Limits& limits) noexcept {
        PendingFiring<Real>& oldest = windows_.pending[0];
        Window& x = window_ = Window{};
        windows_.engine.residuals.fill(oldest.bin - windows_.before, oldest.length, oldest.expected, x);
        const ResponseBank::Match match = windows_.match(oldest, x);
        oldest.amplitude = windows_.alone(oldest, static_cast<Real>(match.amplitude));
        typename PendingFirings<Real>::Amplitudes neighbours;
        // A pattern learned from n cycles scatters like the mean of n windows.
        Real doubt = windows_.engine.pattern_doubt(oldest.bin, oldest.expected);
        const bool calm = !windows_.engine.swing.swings();
        oldest.amplitude = windows_.pending.oldest_amplitude(windows_.engine.bank, calm ? limits : beyond_swing(limits),
                                                             windows_.engine.levels.dead(),
                                                             {whole_loss_, Real(1) + doubt, calm}, neighbours);
        windows_.pending.take_out_neighbours(windows_.engine.bank, neighbours, x);
        const Real variance = Real(1) / static_cast<Real>(free_swing(oldest, match, x));
        const Real usual_variance = Real(1) / static_cast<Real>(windows_.engine.bank.precision(oldest.place));
        if (windows_.rehearsal.holds(oldest.bin)) doubt /= Real(1) - windows_.rehearsal.leverage(cycles_learned());
        firing.lost = oldest.amplitude + windows_.engine.levels.missing(oldest.place);
        firing.pattern_doubt = doubt;
        firing.known_variance = std::max(variance - usual_variance, Real(0));
        if (firing.mixed && !firing.short_window && !firing.cut) {
            const Real off = windows_.engine.expected.error(oldest.expected, windows_.engine.residuals.load_known()) *
                             pull_of_known_losses(windows_.engine, grid_, oldest.bin, oldest.place);
            firing.known_variance += off * off;
        }
        firing.lost_se = std::sqrt(usual_variance * (Real(1) + doubt) + firing.known_variance);
        if (windows_.engine.edges.matched() > 0.0F)
            firing.known_variance +=
                static_cast<Real>(windows_.engine.edges.matched() * windows_.engine.bank.edge_variance(oldest.place));
        firing.strange = static_cast<Real>(windows_.engine.misfit.of(
            x, windows_.engine.bank.response(oldest.place), static_cast<float>(oldest.amplitude), oldest.length));
        firing.acceleration = windows_.engine.residuals.acceleration(oldest.bin, firing.place);
    }

    /// Losses that stand out from what the driveline's swing adds, by two deviations.
    [[nodiscard]] Limits beyond_swing(Limits limits) const noexcept {
        constexpr Real kDeviations = Real(2);
        for (int k = 0; k < grid_.firings; ++k) {
            Real& limit = limits[static_cast<std::size_t>(k)];
            const auto added = static_cast<Real>(
                windows_.engine.swing.variance_of(windows_.engine.bank.level(k), windows_.engine.bank.tilt(k)));
            limit = std::sqrt(limit * limit + kDeviations * kDeviations * added);
        }
        return limits;
    }

    /// Evidence on the kind of response counts only where a firing explains more than its neighbours do.
    void weigh_hypotheses(const Window& x) noexcept {
        const PendingFiring<Real>& oldest = windows_.pending[0];
        if (oldest.gain <= Real(0) || !settled() || !windows_.pending.oldest_leads()) return;
        if (last_gain_bin_ > oldest.bin - hold_ && last_gain_ > oldest.gain) return;
        last_gain_ = oldest.gain;
        last_gain_bin_ = oldest.bin;
        windows_.engine.bank.weigh(oldest.place, x, windows_.engine.covariance);
    }

    /// Takes a firing that was not as the pattern has it (a misfire, or a dead cylinder that fired) out of what later firings
    /// and the pattern see.
    void remove_deviation() noexcept {
        const Real size = std::clamp(windows_.pending[0].amplitude, Real(-1.5), Real(1.5));
        take_out_loss(windows_.engine.residuals, windows_.engine.bank, windows_.pending[0],
                      windows_.pending[0].bin - windows_.before, size);
        windows_.pending.take_out_oldest(windows_.engine.bank, size);
    }

    /// Learns the scatter of windows from a healthy firing, the response from a misfire.
    void learn_window(const FiringWork<Real>& firing, const Feedback<Real>& feedback) noexcept {
        const PendingFiring<Real>& oldest = windows_.pending[0];
        // A window that fits neither health nor misfire must not teach much (bounded influence).
        // What is measured worse than usual tells less.
        const Real told = std::max(Real(1) - firing.known_variance / (firing.lost_se * firing.lost_se), Real(0));
        const Real trust = told * std::min(Real(1), Real(4) / std::max(firing.strange, Real(1e-3)));
        const bool dead = windows_.engine.levels.is_dead(oldest.place);
        const bool healthy = !feedback.misfire && feedback.probability < Real(0.5);
        // The pattern holds a dead cylinder as it is, so its windows scatter like healthy ones.
        // In a long steady state one cycle in a few tells enough.
        const int every = windows_.engine.steady_cycles > 256 ? 4 : windows_.engine.steady_cycles > 64 ? 2 : 1;
        const bool enough = cycles_learned() % every != 0;
        if (!enough && !firing.rehearsal && !firing.rehearsed && (dead ? feedback.misfire : healthy))
            windows_.engine.covariance.learn(
                window_, static_cast<float>(dead ? trust : trust * (Real(1) - feedback.probability)));
        if (dead || healthy) return;
        learn_whole_loss(firing.lost, told * feedback.probability);
        if (!firing.sized && settled()) windows_.engine.expected.learn_size(firing.lost, told * feedback.probability);
        // What is measured per share of the loss is the noisier the less was lost (least squares). On a cold engine a whole combustion
        // may read as a third.
        if (firing.lost > Real(0.25) && firing.lost < Real(1.5))
            learn_response(firing.lost, told * feedback.probability * std::min(firing.lost * firing.lost, Real(1)));
    }

    /// What a lost work reads as: one where the expected work is right, less on a cold engine.
    void learn_whole_loss(Real lost, Real trust) noexcept {
        constexpr Real kMemory = Real(20);
        whole_loss_ += trust * (std::clamp(lost, Real(0.25), Real(1.5)) - whole_loss_) / kMemory;
    }

    void learn_response(Real lost, Real trust) noexcept {
        const PendingFiring<Real>& oldest = windows_.pending[0];
        const std::int64_t first = oldest.bin - windows_.before;
        const int known = response_known(oldest.bin) + windows_.before;
        if (!windows_.engine.residuals.bins().connected(first, first + known)) return;
        const auto response = measured_response(windows_.engine.residuals, windows_.pending, windows_.engine.bank,
                                                windows_.engine.levels.dead(), first, known, lost);
        windows_.engine.bank.refine(oldest.place, response, known, static_cast<float>(trust),
                                    windows_.engine.covariance);
    }

    /// Bins after TDC in which all that could have happened has been looked at: up to the first firing whose window is open.
    [[nodiscard]] int response_known(std::int64_t tdc_bin) const noexcept {
        std::int64_t next = windows_.newest() + 1;
        while (windows_.engine.residuals.firing_at(next) < 0) ++next;
        return std::min(static_cast<int>(next - tdc_bin), windows_.engine.bank.length() - windows_.before);
    }

    /// Learns the pattern from all cycles that end before `bin`: their firings are judged.
    void learn_cycles(std::int64_t bin) noexcept {
        const BinHistory<Real>& bins = windows_.engine.residuals.bins();
        if (next_cycle_bin_ < 0 || !bins.holds(next_cycle_bin_)) {
            next_cycle_bin_ = bins.oldest_connected();
            if (next_cycle_bin_ < 0) return;
        }
        while (next_cycle_bin_ + grid_.bins <= bin) {
            if (!bins.connected(next_cycle_bin_ - 1, next_cycle_bin_ + grid_.bins + 1)) {
                ++next_cycle_bin_;
                continue;
            }
            if (windows_.engine.learn_cycle(next_cycle_bin_, bin)) windows_.look_again();
            next_cycle_bin_ += grid_.bins;
        }
    }

    static constexpr Real kClearlyMore = Real(7);  // log-likelihood ratio: as if a thousandth of firings lost twice

    CycleGrid grid_{};
    bool two_stroke_ = false;
    bool frame_known_ = false;
    bool ever_known_ = false;
    int hold_ = 0;  // bins that a firing waits for its neighbours
    std::int64_t next_cycle_bin_ = -1;
    Real last_gain_ = 0;
    std::int64_t last_gain_bin_ = 0;
    Window window_{};  // of the firing that take() gave
    Real whole_loss_ = 1;
    Real first_scatter_ = 0;
    int first_healthy_ = 0;
    SecondLook<Real> second_look_{};
    FiringWindows<Real> windows_{};
};

}  // namespace kurbel
