// What a firing teaches once it is judged.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "kurbel/stage/firing_windows.hpp"
#include "kurbel/stage/firing_work.hpp"
#include "kurbel/stage/misfire_response.hpp"
#include "kurbel/stage/window.hpp"

namespace kurbel {

/// Healthy firings tell how windows scatter, misfires how they show and what a lost work reads as; a firing that was not as the pattern has it is
/// taken out of what later ones see, and a pattern that healthy firings contradict is moved to them. All of it weighed by how likely the
/// verdict is and how well the firing was measured.
template <class Real>
class FiringLessons {
  public:
    void begin() noexcept { whole_loss_ = Real(1); }

    /// What a lost work reads as: one where the expected work is right, less on a cold engine.
    [[nodiscard]] Real whole_loss() const noexcept { return whole_loss_; }

    /// Learns from the oldest firing, whose window is `window`. Before that is dropped from the queue.
    void learn(FiringWindows<Real>& windows, const Window& window, const FiringWork<Real>& firing,
               const Feedback<Real>& feedback) noexcept {
        auto& engine = windows.engine;
        PendingFiring<Real>& oldest = windows.pending[0];
        if (feedback.learn) learn_window(windows, window, firing, feedback);
        const bool dead = engine.levels.is_dead(oldest.place);
        if (oldest.known) oldest.amplitude = dead ? Real(0) : Real(1);
        // Where the work is little a dead cylinder reads as anything, for its pattern is off; that is to follow, not to be kept from it.
        const bool told = !(dead && firing.little);
        const bool deviates =
            oldest.known ? !dead
                         : told && ((feedback.misfire || (firing.cut && firing.lost > Real(0.5))) != dead ||
                                    (engine.levels.may_burn(oldest.place) && feedback.loss_ratio > kClearlyMore));
        // Of a set that fails each loss is a whole one, and the less of it is taken out, the less the next one reads as.
        if (deviates && firing.failing && !dead && !oldest.known)
            oldest.amplitude = std::max(oldest.amplitude, whole_loss_);
        const Real deviation = deviates ? oldest.amplitude : Real(0);
        // What a dead cylinder reads as is off where the work falls.
        const Real left = dead ? engine.work_left(oldest.bin) : Real(1);
        if (!oldest.known) {
            if (dead)
                engine.levels.note_dead(oldest.place, oldest.amplitude, firing.lost_se,
                                        left < engine.kSteadyWork || engine.is_moving(),
                                        engine.error_growth(oldest.bin));
            else
                engine.levels.note(oldest.place, deviation, firing.weight());
            if (!dead && !deviates && firing.complete && !firing.cut)
                engine.levels.note_usual(firing.lost, firing.lost_se);
        }
        const Real usual = dead ? feedback.probability : Real(1) - feedback.probability;
        // How those scatter that were rehearsed has been told.
        const bool freed =
            feedback.learn && !firing.rehearsal && left > kFalling && !firing.little &&
            engine.follow_life(oldest.place, oldest.amplitude,
                               deviates || firing.rehearsed ? Real(0) : usual * firing.weight(), feedback.loss_ratio);
        if (windows.rehearsal.runs() && !oldest.known) windows.rehearsal.note(oldest.bin, deviation);
        if (deviates) remove_deviation(windows);
        if (freed) windows.look_again();
    }

    /// Puts the pattern where healthy firings of this place are: they lost `level` against it. After the firing was dropped.
    void mend_pattern(FiringWindows<Real>& windows, const FiringWork<Real>& firing, Real level) const noexcept {
        auto& engine = windows.engine;
        const Real died_by = engine.levels.died_by(firing.place);
        const bool freed = level != Real(0) && engine.levels.is_dead(firing.place);
        if (freed) engine.levels.free(firing.place);
        const bool revives = !freed && engine.levels.revives(firing.place, false, level);
        if (freed || revives || (level == Real(0) && engine.has_died(firing.place, firing.bin, level)))
            move_to(windows, firing.place, firing.bin, level, died_by);
        else if (level != Real(0))
            engine.correct_pattern(firing.place, level, firing.expected, engine.residuals.point(firing.bin));
        else
            return;
        for (std::int64_t bin = firing.bin - 1; revives && bin > firing.bin - engine.bins(); --bin) {
            const int place = engine.residuals.firing_at(bin);
            if (place < 0) continue;
            const Real other_died_by = engine.levels.died_by(place);
            if (engine.levels.revives(place, true, level)) move_to(windows, place, bin, level, other_died_by);
        }
        windows.look_again();
    }

  private:
    static constexpr Real kFalling = Real(0.7);    // work that is left
    static constexpr Real kClearlyMore = Real(7);  // log-likelihood ratio: as if a thousandth of firings lost twice

    /// Moves the pattern by what the firings of a place lost against it, the last one at `bin`. What that one did beyond the old pattern was
    /// taken out, and is the new one. Who died by `died_by` and burns again is as it was before; what is left over is wrong here.
    static void move_to(FiringWindows<Real>& windows, int place, std::int64_t bin, Real lost, Real died_by) noexcept {
        auto& engine = windows.engine;
        if (died_by > Real(0)) {
            engine.move_pattern(place, -died_by);
            engine.correct_pattern(place, lost + died_by, engine.expected_work(bin), engine.residuals.point(bin));
        } else {
            engine.move_pattern(place, lost);
        }
        PendingFiring<Real> last;
        last.bin = bin;
        last.place = static_cast<std::int8_t>(place);
        last.expected = engine.expected_work(bin);
        take_out_loss(engine.residuals, engine.bank, last, bin - windows.before, -lost);
    }

    /// Takes a firing that was not as the pattern has it (a misfire, or a dead cylinder that fired) out of what later firings
    /// and the pattern see.
    static void remove_deviation(FiringWindows<Real>& windows) noexcept {
        const PendingFiring<Real>& oldest = windows.pending[0];
        const Real size = std::clamp(oldest.amplitude, Real(-1.5), Real(1.5));
        take_out_loss(windows.engine.residuals, windows.engine.bank, oldest, windows.first_waiting(), size);
        windows.pending.take_out_oldest(windows.engine.bank, size);
    }

    /// Learns the scatter of windows from a healthy firing, the response from a misfire.
    void learn_window(FiringWindows<Real>& windows, const Window& window, const FiringWork<Real>& firing,
                      const Feedback<Real>& feedback) noexcept {
        auto& engine = windows.engine;
        // A window that fits neither health nor misfire must not teach much (bounded influence).
        // What is measured worse than usual tells less.
        const Real told = std::max(Real(1) - firing.known_variance / (firing.lost_se * firing.lost_se), Real(0));
        const Real trust = told * std::min(Real(1), Real(4) / std::max(firing.strange, Real(1e-3)));
        const bool dead = engine.levels.is_dead(windows.pending[0].place);
        const bool healthy = !feedback.misfire && feedback.probability < Real(0.5);
        // The pattern holds a dead cylinder as it is, so its windows scatter like healthy ones.
        // In a long steady state one cycle in a few tells enough.
        const int every = engine.steady_cycles > 256 ? 4 : engine.steady_cycles > 64 ? 2 : 1;
        const bool enough = engine.cycles() % every != 0;
        if (!enough && !firing.rehearsal && !firing.rehearsed && (dead ? feedback.misfire : healthy))
            engine.covariance.learn(window,
                                    static_cast<float>(dead ? trust : trust * (Real(1) - feedback.probability)));
        if (dead || healthy) return;
        learn_whole_loss(firing.lost, told * feedback.probability);
        if (!firing.sized && engine.settled()) engine.expected.learn_size(firing.lost, told * feedback.probability);
        // What is measured per share of the loss is the noisier the less was lost (least squares). On a cold engine a whole combustion
        // may read as a third.
        if (firing.lost > Real(0.25) && firing.lost < Real(1.5))
            learn_response(windows, firing.lost,
                           told * feedback.probability * std::min(firing.lost * firing.lost, Real(1)));
    }

    void learn_whole_loss(Real lost, Real trust) noexcept {
        constexpr Real kMemory = Real(20);
        whole_loss_ += trust * (std::clamp(lost, Real(0.25), Real(1.5)) - whole_loss_) / kMemory;
    }

    static void learn_response(FiringWindows<Real>& windows, Real lost, Real trust) noexcept {
        auto& engine = windows.engine;
        const PendingFiring<Real>& oldest = windows.pending[0];
        const std::int64_t first = windows.first_waiting();
        const int known = response_known(windows, oldest.bin) + windows.before;
        if (!engine.residuals.bins().connected(first, first + known)) return;
        const auto response =
            measured_response(engine.residuals, windows.pending, engine.bank, engine.levels.dead(), first, known, lost);
        engine.bank.refine(oldest.place, response, known, static_cast<float>(trust), engine.covariance);
    }

    /// Bins after TDC in which all that could have happened has been looked at: up to the first firing whose window is open.
    [[nodiscard]] static int response_known(const FiringWindows<Real>& windows, std::int64_t tdc_bin) noexcept {
        std::int64_t next = windows.newest() + 1;
        while (windows.engine.residuals.firing_at(next) < 0) ++next;
        return std::min(static_cast<int>(next - tdc_bin), windows.engine.bank.length() - windows.before);
    }

    Real whole_loss_ = 1;
};

}  // namespace kurbel
