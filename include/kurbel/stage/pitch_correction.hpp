// Learns where the teeth of the crank wheel really stand, and how sure that is.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/core/calibration.hpp"
#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/stage/crank_view.hpp"
#include "kurbel/stage/crank_wobble.hpp"
#include "kurbel/stage/half_orders.hpp"
#include "kurbel/stage/pitch_blocks.hpp"
#include "kurbel/stage/pitch_cells.hpp"
#include "kurbel/stage/pitch_explanations.hpp"
#include "kurbel/stage/pitch_fit.hpp"
#include "kurbel/stage/pitch_noise.hpp"
#include "kurbel/stage/tooth_deviation.hpp"
#include "kurbel/stage/wheel_basis.hpp"
#include "kurbel/stage/wheel_teeth.hpp"

namespace kurbel {

/// Streaming. Wheel error is the same every revolution, so that it lives at integer orders, which two revolutions averaged leave
/// alone (PitchBlocks). Fast patterns over the teeth are wheel error and nothing else (WheelTeeth); in the slow ones the crank swings,
/// too. There all patterns, and what both revolutions differ by, are explained together by one engine (CrankWobble) whose unknowns begin
/// from what its geometry makes likely (PitchFit, PitchExplanations). What a narrow range of speeds leaves undecided is shared out by
/// how likely each is: the posterior mean, which on average brings teeth nearer, never farther.
///
/// errors() and compare() may be asked at any time and change nothing; they take some hundred million operations and 400 KiB of stack.
/// Nothing allocates.
template <class Real>
class PitchCorrection {
  public:
    /// What errors() rests on.
    struct Report {
        int cycles = 0;                         ///< engine cycles that were learned from
        double rms_deg = 0.0;                   ///< of the errors found
        double rms_se_deg = kUnknown;           ///< of their standard errors: what is expected to be left
        double jitter_deg = kUnknown;           ///< of one edge, from the patterns that the crank cannot make
        double usual_deg = kUnknown;            ///< standard deviation between this wheel's teeth
        std::array<float, kMaxTeeth> se_deg{};  ///< standard error of each tooth's error
    };

    /// `config` was validated. Its `wheel_errors` are not used: what is learned is the whole error.
    void configure(const Config& config) noexcept {
        basis_.build(config.crank_wheel);
        halves_.build(config.crank_wheel, config.engine.strokes);
        view_.build(config.crank_wheel, basis_, halves_);
        wobble_.build(config);
        cycle_deviation_.configure(config);
        teeth_ = config.crank_wheel.teeth;
        reset();
    }

    void reset() noexcept {
        cycle_deviation_.reset();
        blocks_.reset();
    }

    /// Takes one tooth of the Decoder. `load` NaN where unknown; `fires`: no cylinder has its fuel cut; `spoilt`: something, a
    /// misfire for one, makes this time unfit.
    void push(const Tooth& tooth, Real load, bool fires, bool spoilt = false) noexcept {
        if (teeth_ < 2 || !cycle_deviation_.push(tooth, load, fires, spoilt)) return;
        blocks_.push(cycle_deviation_.cycle(), cycle_deviation_.seems_deg(), cycle_deviation_.half_deg(), basis_,
                     halves_, teeth_);
    }

    [[nodiscard]] int cycles() const noexcept { return blocks_.cycles(); }

    /// What all rests on, for those who judge it: what was seen, how the crank shows in it, and what is expected of the crank.
    [[nodiscard]] const PitchCells& cells() const noexcept { return blocks_.cells(); }
    [[nodiscard]] const CrankView& view() const noexcept { return view_; }
    [[nodiscard]] const CrankWobble& wobble() const noexcept { return wobble_; }

    /// What is known by now. `report`, where given, says what it rests on.
    [[nodiscard]] WheelErrors errors(Report* report = nullptr) const noexcept {
        return solve(finished_blocks(), report);
    }

    /// How errors that were learned elsewhere fit what was seen here.
    [[nodiscard]] WheelFit compare(const WheelErrors& loaded) const noexcept;

  private:
    static constexpr double kGrowth = 0.01;  // degrees by which a wheel may change between two recordings

    using PerPattern = PitchFit::PerPattern;

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    /// What is known of the teeth and of the slow patterns.
    struct Solution {
        WheelTeeth teeth;
        PerPattern mean{};
        PerPattern variance{};
        PerPattern seen{};  ///< by the data alone: without the prior of the wheel, but not without that of the crank
        PerPattern seen_variance{};
    };

    [[nodiscard]] PitchBlocks<Real> finished_blocks() const noexcept {
        PitchBlocks<Real> blocks = blocks_;
        blocks.finish(basis_, halves_, teeth_);
        return blocks;
    }

    [[nodiscard]] WheelErrors solve(const PitchBlocks<Real>& blocks, Report* report) const noexcept {
        WheelErrors result;
        if (report != nullptr) *report = Report{};
        if (teeth_ < 2 || blocks.cycles() == 0) return result;
        const Solution found = solve_all(blocks);
        result.teeth = teeth_;
        double error_square = 0.0;
        double variance_sum = 0.0;
        for (int j = 0; j < teeth_; ++j) {
            double error = found.teeth.error(j);
            double variance = found.teeth.variance(j);
            for (int m = 0; m < basis_.size(); ++m) {
                const auto q = static_cast<double>(basis_.pattern(m)[j]);
                error += q * found.mean[at(m)];
                variance += q * q * found.variance[at(m)];
            }
            result.error_deg[at(j)] = static_cast<float>(error);
            if (report != nullptr) report->se_deg[at(j)] = static_cast<float>(std::sqrt(std::max(variance, 0.0)));
            error_square += error * error;
            variance_sum += variance;
        }
        result.rms_se_deg = static_cast<float>(std::sqrt(std::max(variance_sum, 0.0) / teeth_));
        if (report == nullptr) return result;
        report->cycles = blocks.cycles();
        report->rms_deg = std::sqrt(error_square / teeth_);
        report->rms_se_deg = static_cast<double>(result.rms_se_deg);
        report->jitter_deg = std::sqrt(found.teeth.jitter_square());
        report->usual_deg = std::sqrt(found.teeth.uneven());
        return result;
    }

    [[nodiscard]] WheelTeeth teeth_of(const PitchBlocks<Real>& blocks) const noexcept {
        std::array<double, kMaxTeeth> rest{};
        for (int j = 0; j < teeth_; ++j) rest[at(j)] = blocks.rest(j);
        return WheelTeeth(basis_, teeth_, rest, blocks.rest_square(), blocks.weight(), blocks.blocks());
    }

    [[nodiscard]] Solution solve_all(const PitchBlocks<Real>& blocks) const noexcept {
        Solution found{teeth_of(blocks)};
        PitchFit::Seen seen;
        PitchNoise(basis_, view_, wobble_, blocks.cells()).fill(found.teeth.jitter_square(), seen);
        const auto expect_wheel = [&] {
            for (int m = 0; m < basis_.size(); ++m) {
                seen.wheel_mean[at(m)] = found.teeth.expected(m);
                seen.wheel_variance[at(m)] = found.teeth.expected_variance(m);
            }
        };
        expect_wheel();
        CrankWobble wobble = wobble_;
        for (int c = 0; c < seen.runs; ++c)
            if (!(seen.load[at(c)] == seen.load[at(c)])) wobble.doubt_load();
        PitchExplanations explanations(view_, wobble, seen);
        explanations.begin();
        for (int round = 0; round < kRounds; ++round) {
            expect_wheel();
            explanations.mix(found.mean, found.variance);
            if (round + 1 < kRounds) found.teeth.find_uneven(found.mean, found.variance);
        }
        for (int m = 0; m < basis_.size(); ++m) {
            const double told = std::max(1.0 / found.variance[at(m)] - 1.0 / seen.wheel_variance[at(m)], 1e-9);
            found.seen_variance[at(m)] = 1.0 / told;
            found.seen[at(m)] =
                (found.mean[at(m)] / found.variance[at(m)] - seen.wheel_mean[at(m)] / seen.wheel_variance[at(m)]) /
                told;
        }
        return found;
    }

    static constexpr int kRounds = 3;

    int teeth_ = 0;
    ToothDeviation<Real> cycle_deviation_{};
    WheelBasis basis_{};
    HalfOrders halves_{};
    CrankView view_{};
    CrankWobble wobble_{};
    PitchBlocks<Real> blocks_{};
};

template <class Real>
WheelFit PitchCorrection<Real>::compare(const WheelErrors& loaded) const noexcept {
    WheelFit fit;
    const PitchBlocks<Real> blocks = finished_blocks();
    if (loaded.teeth != teeth_ || teeth_ < 2 || blocks.cycles() == 0) return fit;
    const Solution found = solve_all(blocks);
    const WheelTeeth& teeth = found.teeth;
    const double loaded_variance = static_cast<double>(loaded.rms_se_deg) * static_cast<double>(loaded.rms_se_deg);
    double mean = 0.0;
    for (int j = 0; j < teeth_; ++j) mean += static_cast<double>(loaded.error_deg[at(j)]) / teeth_;
    // Another wheel is as uneven as this one, and as the loaded one is.
    const auto weigh = [&](double seen, double told, double variance, double share) {
        const double left = seen - told;
        const double same = variance + loaded_variance + kGrowth * kGrowth;
        const double other = variance + teeth.uneven();
        fit.chi_square += share * left * left / same;
        fit.log_odds += 0.5 * (share * (seen * seen / other - left * left / same) + share * std::log(other / same));
        fit.rms_left_deg += share * left * left;
    };
    std::array<double, kMaxTeeth> told{};
    for (int j = 0; j < teeth_; ++j) told[at(j)] = static_cast<double>(loaded.error_deg[at(j)]) - mean;
    for (int m = 0; m < basis_.size(); ++m) {
        const double part = basis_.project(m, told.data());
        const float* q = basis_.pattern(m);
        for (int j = 0; j < teeth_; ++j) told[at(j)] -= part * static_cast<double>(q[j]);
        // Patterns in which the crank's own swing is in doubt say little, and what they say rests on priors.
        if (found.seen_variance[at(m)] > teeth.uneven()) continue;
        weigh(found.seen[at(m)], part, found.seen_variance[at(m)], 1.0);
        ++fit.patterns;
    }
    const int free = teeth.free();
    if (free > 0) {
        const double share = static_cast<double>(free) / teeth_;
        for (int j = 0; j < teeth_; ++j) {
            // Each tooth's rest has 1 - leverage of a degree of freedom; together `free`.
            const double own = std::max(1.0 - basis_.leverage(j), 0.05);
            const double scale = 1.0 / std::sqrt(own);
            weigh(teeth.rest(j) * scale, told[at(j)] * scale, teeth.rest_noise(), share);
        }
        fit.patterns += free;
    }
    fit.rms_left_deg = fit.patterns > 0 ? std::sqrt(fit.rms_left_deg / fit.patterns) : 0.0;
    return fit;
}

}  // namespace kurbel
