// What no learner can be expected to do better than: the wheel's standard error if the crank were described exactly.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <memory>
#include <numbers>

#include "kurbel/simulate/scenario.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "learner.hpp"

namespace kurbel_pitch {

/// Degrees rms over the teeth. The bound is van Trees' (Detection, Estimation, and Modulation Theory I, sec. 2.4; from memory), the
/// Cramer-Rao bound of unknowns with a prior: the inverse of what the edges tell beside what is known beforehand.
///
/// The edges tell as much as their jitter and the timer's step let them: nothing else is taken for noise, neither the scatter of burns
/// nor anything that a description of the crank gets wrong. Not identifiable but through what is known beforehand is what torque does
/// at one speed and load, or as the wheel does: reciprocating masses swing a rigid crank by the same at every speed, in proportion to
/// masses over inertia; torsion far below its resonance adds a swing that gas at one load holds constant, too. Known beforehand is
/// what CrankWobble says: amounts, masses, inertia, resonances within their ranges. Where the crank is in truth comes from the same
/// engine with a perfect wheel, sensor and timer: the slopes are taken there. So the bound depends on the engine, the wheel's drawn
/// unevenness, jitter, timer, speeds and revolutions, and not on what any learner made of the edges.
[[nodiscard]] inline double least_left_deg(const kurbel::simulate::Scenario& scenario, std::int64_t revolutions) {
    using namespace kurbel;
    simulate::Scenario perfect = scenario;
    perfect.wheel_error = {};
    perfect.timer.hz = 1e9;
    perfect.timer.bits = 62;
    const read::Recording recording = simulate::simulate(perfect);
    const auto learner = std::make_unique<Learner<double>>(recording.config, revolutions);
    read::Feed feed(read::view_of(recording));
    if (!feed.run(*learner).ok()) return kUnknown;
    const PitchCells& cells = learner->pitch.cells();
    const CrankView& view = learner->pitch.view();
    const auto seen = std::make_unique<PitchFit::Seen>();
    const auto fill = [&](double edge_square_deg, double timer_step_s) {
        seen->runs = cells.count();
        double cycles = 0.0;
        for (int c = 0; c < cells.count(); ++c) {
            const auto run = static_cast<std::size_t>(c);
            seen->speed_rad_s[run] = cells[c].speed_rad_s;
            seen->load[run] = cells[c].load;
            seen->fires[run] = cells[c].fires;
            cycles += cells[c].weight;
            const double step_deg = timer_step_s * cells[c].speed_rad_s * 180.0 / std::numbers::pi;
            // A cycle has two edges of each tooth.
            const double cycle = 0.5 * (edge_square_deg + step_deg * step_deg / 12.0);
            for (int m = 0; m < view.size(); ++m) {
                const auto at = static_cast<std::size_t>(m);
                const bool whole = m < view.wheel();
                seen->value[at][run] = static_cast<double>(
                    whole ? cells[c].mean[at] : cells[c].half[at - static_cast<std::size_t>(view.wheel())]);
                seen->noise[at][run] = cycle / std::max(whole ? cells[c].weight : cells[c].half_weight, 1e-6);
            }
        }
        return cycles;
    };
    // The truth first: no wheel, next to no noise.
    static_cast<void>(fill(1e-5, 0.0));
    seen->wheel_mean.fill(0.0);
    seen->wheel_variance.fill(1e-12);
    const auto fit = std::make_unique<PitchFit>(view, learner->pitch.wobble(), *seen);
    PitchFit::Found truth;
    const bool in_gear =
        scenario.operation.mode == simulate::Operation::hold || scenario.operation.mode == simulate::Operation::road;
    for (int i = 0; i < 9; ++i) {
        PitchFit::Found one;
        one.kind = {scenario.crank.damper_kg_m2 > 0.0, in_gear};
        one.doubt = {0.02, 0.05, 2.0};
        one.values[CrankWobble::mode] = 0.4 * (i - 4);
        fit->improve(one, 10);
        if (one.log_evidence > truth.log_evidence) truth = one;
    }
    // Then what edges like those of the scenario tell of the wheel.
    const double jitter = scenario.wheel_error.jitter_deg;
    const double cycles = fill(jitter * jitter, 1.0 / scenario.timer.hz);
    const double pitch = std::max(scenario.wheel_error.pitch_deg, 1e-4);
    const double run_out = scenario.wheel_error.run_out_deg;
    const int teeth = recording.config.crank_wheel.teeth;
    for (int m = 0; m < view.wheel(); ++m)
        seen->wheel_variance[static_cast<std::size_t>(m)] =
            pitch * pitch + (m < 2 ? 0.25 * run_out * run_out * teeth : 0.0);
    truth.doubt = {0.0, 0.0, 0.0};
    fit->improve(truth, 0);
    PitchFit::PerPattern mean{};
    PitchFit::PerPattern variance{};
    fit->wheel(mean, variance);
    const double edge = 0.5 * jitter * jitter / cycles;
    double sum = std::max(0, teeth - 1 - view.wheel()) * edge * pitch * pitch / (edge + pitch * pitch);
    for (int m = 0; m < view.wheel(); ++m) sum += variance[static_cast<std::size_t>(m)];
    return std::sqrt(sum / teeth);
}

}  // namespace kurbel_pitch
