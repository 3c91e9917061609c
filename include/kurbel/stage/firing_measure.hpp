// What the oldest of the waiting firings lost, and how sure that is.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/firing_windows.hpp"
#include "kurbel/stage/firing_work.hpp"
#include "kurbel/stage/known_losses.hpp"
#include "kurbel/stage/second_look.hpp"
#include "kurbel/stage/window.hpp"

namespace kurbel {

/// Measures a firing when all that its window holds is known: beside its neighbours' losses, beside the driveline's swing, with edges that are off
/// as they are off now, and by the kind of response that its own evidence may have changed.
template <class Real>
class FiringMeasure {
  public:
    using Limits = typename PendingFirings<Real>::Limits;

    void begin() noexcept { *this = FiringMeasure{}; }

    /// Measures the oldest firing, which is usable; `firing` was described. `outlook`: by the Decision; `whole_loss`: what a lost
    /// work reads as. The first misfires of an engine tell what misfires look like here, and are to be measured by that themselves.
    void estimate(FiringWindows<Real>& windows, const CycleGrid& grid, const Outlook<Real>& outlook, Real whole_loss,
                  FiringWork<Real>& firing) noexcept {
        const auto measure_anew = [&] {
            windows.engine.match();
            windows.look_again();
            measure(windows, grid, outlook, whole_loss, firing);
        };
        measure(windows, grid, outlook, whole_loss, firing);
        if (!firing.cut && edges_differ(windows)) measure_anew();
        if (firing.mixed || firing.cut) return;
        weigh_kinds(windows);
        if (windows.engine.bank.prefers_another()) measure_anew();
        firing.loss_ratio =
            second_look_.loss_ratio(windows.engine, windows.pending, firing.lost, outlook, grid, windows.before);
        second_look_.follow(firing.strange, grid.firings);
    }

    /// Window of the firing that was measured last, without what its neighbours and the driveline did in it.
    [[nodiscard]] const Window& window() const noexcept { return window_; }

  private:
    /// The amplitude of the oldest firing, after its stronger neighbours have been explained.
    void measure(FiringWindows<Real>& windows, const CycleGrid& grid, const Outlook<Real>& outlook, Real whole_loss,
                 FiringWork<Real>& firing) noexcept {
        auto& [engine, pending, rehearsal, before, size] = windows;
        PendingFiring<Real>& oldest = pending[0];
        Window& x = window_ = Window{};
        windows.fill(oldest, x);
        const ResponseBank::Match match = windows.match(oldest, x);
        oldest.amplitude = windows.alone(oldest, static_cast<Real>(match.amplitude));
        typename PendingFirings<Real>::Amplitudes neighbours;
        // A pattern learned from n cycles scatters like the mean of n windows.
        Real doubt = engine.pattern_doubt(oldest.bin, oldest.expected);
        const bool calm = !engine.swing.swings();
        oldest.amplitude = pending.oldest_amplitude(
            engine.bank, calm ? outlook.limits : beyond_swing(engine, grid, outlook.limits), engine.levels.dead(),
            {whole_loss, Real(1) + doubt, calm, outlook.failing}, neighbours);
        pending.take_out_neighbours(engine.bank, neighbours, x);
        const Real variance = Real(1) / static_cast<Real>(free_swing(windows, match));
        const Real usual_variance = Real(1) / static_cast<Real>(engine.bank.precision(oldest.place));
        if (rehearsal.holds(oldest.bin)) doubt /= Real(1) - rehearsal.leverage(engine.cycles());
        firing.lost = oldest.amplitude + engine.levels.missing(oldest.place);
        firing.pattern_doubt = doubt;
        firing.known_variance = std::max(variance - usual_variance, Real(0));
        if (firing.mixed && !firing.short_window && !firing.cut) {
            const Real off = engine.expected.error(oldest.expected, engine.residuals.load_told()) *
                             pull_of_known_losses(engine, grid, oldest.bin, oldest.place);
            firing.known_variance += off * off;
        }
        firing.lost_se = std::sqrt(usual_variance * (Real(1) + doubt) + firing.known_variance);
        if (engine.edges.matched() > 0.0F)
            firing.known_variance +=
                static_cast<Real>(engine.edges.matched() * engine.bank.edge_variance(oldest.place));
        firing.strange = static_cast<Real>(engine.misfit.of(x, engine.bank.response(oldest.place),
                                                            static_cast<float>(oldest.amplitude), oldest.length));
        firing.acceleration = engine.residuals.acceleration(oldest.bin, firing.place);
    }

    /// Measures the oldest firing anew beside the driveline's swing, where it swings, and takes that out of its window. Returns the
    /// precision; `match`: the measure without it.
    [[nodiscard]] float free_swing(FiringWindows<Real>& windows, const ResponseBank::Match& match) noexcept {
        auto& engine = windows.engine;
        PendingFiring<Real>& oldest = windows.pending[0];
        if (!windows.is_whole(oldest) || !engine.covariance.learned()) return match.precision;
        const auto& response = engine.bank.response(oldest.place);
        const DrivelineSwing::Modes variance = engine.swing.variance(window_, response, engine.torque_step(oldest.bin));
        engine.swing.follow(variance);
        if (!DrivelineSwing::any(variance)) return match.precision;
        DrivelineSwing::Modes states{};
        const ResponseBank::Match beside = engine.swing.match(engine.bank.match_whole(oldest.place, window_), window_,
                                                              response, engine.covariance, variance, states);
        oldest.amplitude = windows.alone(oldest, static_cast<Real>(beside.amplitude));
        engine.swing.take_out(states, window_);
        return beside.precision;
    }

    /// Losses that stand out from what the driveline's swing adds, by two deviations.
    [[nodiscard]] static Limits beyond_swing(const LearnedEngine<Real>& engine, const CycleGrid& grid,
                                             Limits limits) noexcept {
        constexpr Real kDeviations = Real(2);
        for (int k = 0; k < grid.firings; ++k) {
            Real& limit = limits[static_cast<std::size_t>(k)];
            const auto added = static_cast<Real>(engine.swing.variance_of(engine.bank.level(k), engine.bank.tilt(k)));
            limit = std::sqrt(limit * limit + kDeviations * kDeviations * added);
        }
        return limits;
    }

    /// Whether the edges of the oldest firing's window are off by more or less than windows are matched for.
    [[nodiscard]] bool edges_differ(FiringWindows<Real>& windows) const noexcept {
        const PendingFiring<Real>& oldest = windows.pending[0];
        return oldest.begins() && windows.engine.covariance.learned() &&
               windows.engine.follow_edges(oldest.bin, window_, oldest.place, static_cast<float>(oldest.amplitude),
                                           oldest.length);
    }

    /// Evidence on the kind of response counts only where a firing explains more than its neighbours do.
    void weigh_kinds(FiringWindows<Real>& windows) noexcept {
        const PendingFiring<Real>& oldest = windows.pending[0];
        if (oldest.gain <= 0.0F || !windows.engine.settled() || !windows.pending.oldest_leads()) return;
        if (last_gain_bin_ > oldest.bin - windows.hold() && last_gain_ > oldest.gain) return;
        last_gain_ = oldest.gain;
        last_gain_bin_ = oldest.bin;
        windows.engine.bank.weigh(oldest.place, window_, windows.engine.covariance);
    }

    std::int64_t last_gain_bin_ = 0;  // of the last firing whose evidence counted
    float last_gain_ = 0;
    Window window_{};
    SecondLook<Real> second_look_{};
};

}  // namespace kurbel
