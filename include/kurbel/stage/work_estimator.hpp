// The heart: from energy bins to the work that each firing lost.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/firing_lessons.hpp"
#include "kurbel/stage/firing_measure.hpp"
#include "kurbel/stage/firing_windows.hpp"
#include "kurbel/stage/firing_work.hpp"
#include "kurbel/stage/first_look.hpp"
#include "kurbel/stage/misfire_response.hpp"
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
    void configure(const Config& config, const CycleGrid& grid) noexcept {
        grid_ = grid;
        two_stroke_ = config.engine.strokes == 2;
        windows_.before = static_cast<int>(std::ceil(90.0 / grid.bin_deg - 1e-9));
        windows_.size =
            std::min(kMaxWindow, windows_.before + static_cast<int>(std::floor(420.0 / grid.bin_deg + 1e-9)));
        windows_.size = std::max(windows_.size, windows_.before + 1);
        const int hold = static_cast<int>(std::lround(360.0 / grid.bin_deg));
        windows_.engine.configure(config, grid, windows_.before, windows_.size, hold);
        reset();
    }

    void reset() noexcept {
        windows_.reset();
        next_cycle_bin_ = -1;
        ever_known_ = false;
        frame_known_ = false;
        measure_.begin();
        lessons_.begin();
    }

    /// Takes one bin with the channel values in force at its end; `load` NaN where unknown.
    void push(const Bin<Real>& bin, Real load, std::uint32_t cut, bool frame_known) noexcept {
        follow_frame(bin, frame_known);
        if (load == load && !windows_.engine.residuals.load_told()) {
            windows_.engine.expect_load(load);
            if (windows_.pending.count() > 0) windows_.reopen(windows_.pending[0].bin);
        }
        windows_.engine.residuals.push(bin, load, cut);
        if (windows_.engine.follow_charge() && windows_.pending.count() > 0) windows_.reopen(windows_.pending[0].bin);
        windows_.open(windows_.newest(), windows_.size);
        if (!settled() && !frame_lost()) learn_ahead();
    }

    /// Whether take() has one.
    [[nodiscard]] bool ready(bool all = false) const noexcept {
        return windows_.pending.count() > 0 &&
               (all || (windows_.newest() >= windows_.pending[0].bin + windows_.hold() && !holds_back()));
    }

    /// Takes the next firing that is ready. `outlook`: what the Decision expects.
    /// `all`: the stream has ended, give out what is held back.
    [[nodiscard]] bool take(FiringWork<Real>& firing, const Outlook<Real>& outlook, bool all = false) noexcept {
        if (!ready(all)) return false;
        describe(windows_.pending[0], firing);
        firing.failing = outlook.failing[static_cast<std::size_t>(firing.place)];
        if (firing.complete) measure_.estimate(windows_, grid_, outlook, lessons_.whole_loss(), firing);
        return true;
    }

    /// Ends the firing that take() gave: learns from it as told. Call once after each take().
    void learn(const FiringWork<Real>& firing, const Feedback<Real>& feedback) noexcept {
        if (firing.complete) lessons_.learn(windows_, measure_.window(), firing, feedback);
        windows_.pending.drop_oldest();
        if (firing.complete) lessons_.mend_pattern(windows_, firing, feedback.healthy_level);
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
            if (windows_.pending[i].absent > 0)
                continue;  // what it lost may be of what happened before the stream began
            ++found.firings[place];
            if (windows_.rehearsal.taken(windows_.pending[i].bin) != Real(0)) ++found.lost[place];
        }
        return found;
    }
    /// How many rehearsals have ended.
    [[nodiscard]] int rehearsals() const noexcept { return windows_.rehearsal.passes(); }

    [[nodiscard]] int cycles_learned() const noexcept { return windows_.engine.cycles(); }
    [[nodiscard]] bool settled() const noexcept { return windows_.engine.settled(); }
    /// See ExpectedWork.
    [[nodiscard]] Real over_told() const noexcept { return windows_.engine.expected.over_told(); }

  private:
    /// While the engine is not known yet its firings wait, to be judged by what it turns out to be; for as long as it may take to
    /// know it, and as there is room.
    [[nodiscard]] bool holds_back() const noexcept {
        const std::int64_t first = windows_.first_waiting() + windows_.pending[0].absent;
        return !settled() && windows_.pending.has_room_for(grid_.firings) &&
               windows_.engine.residuals.bins().holds(first) &&
               windows_.engine.residuals.bins().newest() - first < BinHistory<Real>::kRing - grid_.bins - 2 &&
               windows_.newest() < windows_.pending[0].bin + windows_.hold() + kFirstCycles * grid_.bins;
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
        windows_.engine.guess_size(next_cycle_bin_ - grid_.bins);
        // What their work should be is known better than when they came.
        windows_.reopen(windows_.pending[0].bin);
        FirstLook<Real> look(windows_, grid_, windows_.hold(), next_cycle_bin_);
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
        windows_.engine.turn(!was_lost);
        if (windows_.pending.count() > 0) windows_.reopen(windows_.pending[0].bin);
    }

    /// The phase was known, is not any more, and will be told again.
    [[nodiscard]] bool frame_lost() const noexcept { return ever_known_ && !frame_known_; }

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
        firing.load = windows_.engine.residuals.told_load(entry.bin);
        firing.cut = windows_.engine.residuals.was_cut(entry.bin, firing.place);
        const std::int64_t first = entry.bin - windows_.before;
        firing.changing = !windows_.engine.same_engine(first - grid_.bins, entry.bin);
        firing.short_window = !windows_.is_whole(entry);
        firing.began_before = entry.absent > 0;
        firing.mixed = firing.short_window || !windows_.engine.residuals.same_fuel(first, first + windows_.size);
        firing.speed_rpm = windows_.engine.residuals.speed_around(entry.bin);
        firing.expected = entry.expected;
        firing.rehearsal = windows_.rehearsal.runs();
        firing.rehearsed = windows_.rehearsal.over_for(entry.bin);
        firing.offset = windows_.engine.levels.offset(firing.place);
        firing.dead = windows_.engine.levels.is_dead(firing.place);
        firing.sized = windows_.engine.sized();
        firing.little = windows_.engine.works_little(entry.bin);
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

    CycleGrid grid_{};
    bool two_stroke_ = false;
    bool frame_known_ = false;
    bool ever_known_ = false;
    int first_healthy_ = 0;
    std::int64_t next_cycle_bin_ = -1;
    FiringMeasure<Real> measure_{};
    FiringLessons<Real> lessons_{};
    Real first_scatter_ = 0;
    FiringWindows<Real> windows_{};
};

}  // namespace kurbel
