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
#include "kurbel/stage/pitch_cells.hpp"
#include "kurbel/stage/pitch_explanations.hpp"
#include "kurbel/stage/pitch_fit.hpp"
#include "kurbel/stage/pitch_noise.hpp"
#include "kurbel/stage/tooth_deviation.hpp"
#include "kurbel/stage/wheel_basis.hpp"

namespace kurbel {

/// Streaming. Wheel error is the same every revolution, so that it lives at integer orders, which two revolutions averaged leave
/// alone. Fast patterns over the teeth are wheel error and nothing else; in the slow ones the crank swings, too. There all patterns,
/// and what both revolutions differ by, are explained together by one engine (CrankWobble) whose unknowns begin from what its
/// geometry makes likely (PitchFit, PitchExplanations). What a narrow range of speeds leaves undecided is shared out by how likely
/// each is: the posterior mean, which on average brings teeth nearer, never farther. How uneven the wheel is at all is found on
/// the way (empirical Bayes by EM).
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
        cells_.clear();
        rest_sum_.fill(0);
        rest_square_ = 0.0;
        rest_weight_ = 0.0;
        rest_blocks_ = 0;
        cycles_ = 0;
        usual_half_ = -1.0;
        clear_block();
    }

    /// Takes one tooth of the Decoder. `load` NaN where unknown; `fires`: no cylinder has its fuel cut; `spoilt`: something, a
    /// misfire for one, makes this time unfit.
    void push(const Tooth& tooth, Real load, bool fires, bool spoilt = false) noexcept {
        if (teeth_ < 2 || !cycle_deviation_.push(tooth, load, fires, spoilt)) return;
        const CycleOfTeeth& cycle = cycle_deviation_.cycle();
        if (!ordinary(cycle)) return;
        if (block_cycles_ > 0 && !alike(cycle)) end_block();
        add_to_block(cycle);
        if (block_cycles_ == kBlock) end_block();
    }

    [[nodiscard]] int cycles() const noexcept { return cycles_ + block_cycles_; }

    /// What all rests on, for those who judge it: what was seen, how the crank shows in it, and what is expected of the crank.
    [[nodiscard]] const PitchCells& cells() const noexcept { return cells_; }
    [[nodiscard]] const CrankView& view() const noexcept { return view_; }
    [[nodiscard]] const CrankWobble& wobble() const noexcept { return wobble_; }

    /// What is known by now. `report`, where given, says what it rests on.
    [[nodiscard]] WheelErrors errors(Report* report = nullptr) const noexcept {
        PitchCorrection last = *this;
        if (last.block_cycles_ > 0) last.end_block();
        return last.solve(report);
    }

    /// How errors that were learned elsewhere fit what was seen here.
    [[nodiscard]] WheelFit compare(const WheelErrors& loaded) const noexcept;

  private:
    static constexpr int kBlock = 4;        // cycles that are averaged before they are taken apart
    static constexpr double kAlike = 0.04;  // speeds of one block
    static constexpr double kApart = 9.0;  // a cycle whose revolutions differ so much more (squared) is no ordinary one
    static constexpr double kFirstJitter = 0.015;  // degrees, until more is known; with kFirstUneven values from memory
    static constexpr double kFirstUneven = 0.1;
    static constexpr double kRunOut = 0.1;  // degrees of amplitude at order 1, falling with the square of the order
    static constexpr double kLeastUneven = 0.002;
    static constexpr double kGrowth = 0.01;  // degrees by which a wheel may change between two recordings
    static constexpr int kMostBent = 8;      // teeth that stand out
    static constexpr double kBent = 6.0;

    using PerPattern = PitchFit::PerPattern;

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    /// Follows the median of how much both revolutions differ; a lost combustion sets them far apart.
    [[nodiscard]] bool ordinary(const CycleOfTeeth& cycle) noexcept {
        const double half = cycle.half_square;
        if (usual_half_ < 0.0) usual_half_ = half;
        const bool fine = half <= kApart * usual_half_;
        usual_half_ *= half > usual_half_ ? 1.1 : 1.0 / 1.1;
        return fine;
    }

    [[nodiscard]] bool alike(const CycleOfTeeth& cycle) const noexcept {
        const double mean = speed_sum_ / block_cycles_;
        return cycle.fires == fires_ && std::fabs(cycle.speed_rad_s - mean) < kAlike * mean;
    }

    void clear_block() noexcept {
        block_cycles_ = 0;
        speed_sum_ = 0.0;
        load_sum_ = 0.0;
        block_.fill(0);
        half_count_ = 0;
        half_block_.fill(0);
    }

    void add_to_block(const CycleOfTeeth& cycle) noexcept {
        fires_ = cycle.fires;
        speed_sum_ += cycle.speed_rad_s;
        load_sum_ += cycle.load;
        ++block_cycles_;
        const auto& seems = cycle_deviation_.seems_deg();
        for (int j = 0; j < teeth_; ++j) block_[at(j)] += seems[at(j)];
        if (!cycle.phase_known) return;
        ++half_count_;
        const auto& half = cycle_deviation_.half_deg();
        for (int j = 0; j < teeth_; ++j) half_block_[at(j)] += half[at(j)];
    }

    void end_block() noexcept {
        const double count = block_cycles_;
        std::array<double, kMaxTeeth> mean{};
        double all = 0.0;
        for (int j = 0; j < teeth_; ++j) all += static_cast<double>(block_[at(j)]);
        for (int j = 0; j < teeth_; ++j) mean[at(j)] = (static_cast<double>(block_[at(j)]) - all / teeth_) / count;
        PitchCells::Block block{speed_sum_ / count, load_sum_ / count, fires_, count, 1.0 * half_count_, {}, {}};
        for (int m = 0; m < basis_.size(); ++m) {
            const double part = basis_.project(m, mean.data());
            block.mean[at(m)] = part;
            const float* pattern = basis_.pattern(m);
            for (int j = 0; j < teeth_; ++j) mean[at(j)] -= part * static_cast<double>(pattern[j]);
        }
        if (half_count_ > 0) {
            halves_.project(half_block_.data(), block.half.data());
            for (double& half : block.half) half /= half_count_;
        }
        cells_.add(block);
        // What is left no swing of the crank can make.
        double square = 0.0;
        for (int j = 0; j < teeth_; ++j) {
            rest_sum_[at(j)] += static_cast<Real>(count * mean[at(j)]);
            square += mean[at(j)] * mean[at(j)];
        }
        rest_square_ += count * square;
        rest_weight_ += count;
        ++rest_blocks_;
        cycles_ += block_cycles_;
        clear_block();
    }

    /// What the solution goes through: priors, then patterns, then teeth.
    struct Work {
        PerPattern mean{};
        PerPattern variance{};
        PerPattern seen{};
        PerPattern seen_variance{};
        std::array<double, kMaxTeeth> rest{};  // mean beyond the patterns
        std::array<double, kMaxTeeth> bent{};  // of teeth that stand out
        double rest_noise = 0.0;               // variance of one tooth's `rest`
        double uneven = kFirstUneven * kFirstUneven;
        double jitter_square = kFirstJitter * kFirstJitter;
    };

    [[nodiscard]] int rest_patterns() const noexcept { return std::max(0, teeth_ - 1 - basis_.size()); }

    void find_rest(Work& work) const noexcept {
        const int free = rest_patterns();
        double square = 0.0;
        for (int j = 0; j < teeth_; ++j) {
            work.rest[at(j)] = static_cast<double>(rest_sum_[at(j)]) / rest_weight_;
            square += work.rest[at(j)] * work.rest[at(j)];
        }
        if (free == 0) return;
        // Scatter of the blocks around their mean is jitter; a cycle averages two edges of each tooth.
        const double scatter = std::max(rest_square_ - rest_weight_ * square, 0.0);
        const double prior = 0.5 * kFirstJitter * kFirstJitter;
        const double observed = static_cast<double>(rest_blocks_ - 1) * free;
        const double cycle_variance = (scatter + 4.0 * prior) / (std::max(observed, 0.0) + 4.0);
        work.jitter_square = 2.0 * cycle_variance;
        work.rest_noise = cycle_variance / rest_weight_;
    }

    /// Teeth that stand out of all others (bent, or beside the gap of an inductive sensor): their own error is taken as it is,
    /// so that it neither makes the others look uneven nor is drawn towards them.
    void find_bent(Work& work) const noexcept {
        work.bent.fill(0.0);
        if (rest_patterns() < 8) return;
        std::array<double, kMaxTeeth> left = work.rest;
        for (int round = 0; round < kMostBent; ++round) {
            // What each tooth explains of the rest, its traces at the others included: most of it at the worst one.
            int worst = 0;
            double own = 1.0;
            double explained = 0.0;
            double square = 0.0;
            for (int j = 0; j < teeth_; ++j) {
                square += left[at(j)] * left[at(j)];
                const double alone = 1.0 - basis_.leverage(j);
                if (alone < 0.1 || left[at(j)] * left[at(j)] <= explained * alone) continue;
                worst = j;
                own = alone;
                explained = left[at(j)] * left[at(j)] / alone;
            }
            const double others = (square - explained) / (rest_patterns() - 1);
            if (explained < kBent * kBent * std::max(others, work.rest_noise)) return;
            const double size = left[at(worst)] / own;
            work.bent[at(worst)] += size;
            // What one tooth does to the rest: itself less its share in mean and patterns.
            for (int j = 0; j < teeth_; ++j) left[at(j)] += size / teeth_;
            left[at(worst)] -= size;
            for (int m = 0; m < basis_.size(); ++m) {
                const float* q = basis_.pattern(m);
                const double share = size * static_cast<double>(q[worst]);
                for (int j = 0; j < teeth_; ++j) left[at(j)] += share * static_cast<double>(q[j]);
            }
        }
    }

    [[nodiscard]] double run_out_variance(int m) const noexcept {
        const double order = basis_.order(m);
        const double amplitude = kRunOut / (order * order);
        return 0.5 * amplitude * amplitude * 0.5 * teeth_;
    }

    void set_wheel(const Work& work, PitchFit::Seen& seen) const noexcept {
        for (int m = 0; m < basis_.size(); ++m) {
            seen.wheel_mean[at(m)] = basis_.project(m, work.bent.data());
            seen.wheel_variance[at(m)] = work.uneven + run_out_variance(m);
        }
    }

    /// One step of EM: the variance between teeth that explains patterns and rest best.
    void find_uneven(Work& work) const noexcept {
        double sum = 0.0;
        double count = 0.0;
        const int free = rest_patterns();
        if (free > 0) {
            const double shrink = work.uneven / (work.uneven + work.rest_noise);
            std::array<double, kMaxTeeth> plain{};
            for (int j = 0; j < teeth_; ++j) plain[at(j)] = work.rest[at(j)] - beyond_patterns(work, j);
            double square = 0.0;
            for (int j = 0; j < teeth_; ++j) square += plain[at(j)] * plain[at(j)];
            sum += shrink * shrink * square + free * shrink * work.rest_noise;
            count += free;
        }
        for (int m = 0; m < basis_.size(); ++m) {
            // Run-out and ovality are not the teeth's own.
            if (basis_.order(m) <= 2 && basis_.size() > 4) continue;
            const double off = work.mean[at(m)] - basis_.project(m, work.bent.data());
            sum += off * off + work.variance[at(m)];
            count += 1.0;
        }
        // Before any data: four teeth's worth of what is usual, so that few teeth cannot look perfect by chance.
        const double prior = kFirstUneven * kFirstUneven;
        work.uneven = std::max((sum + 2.0 * prior * (free > 8 ? 0.0 : 1.0)) / (count + (free > 8 ? 0.0 : 2.0)),
                               kLeastUneven * kLeastUneven);
    }

    /// What bent teeth leave beyond the patterns at tooth `j`.
    [[nodiscard]] double beyond_patterns(const Work& work, int j) const noexcept {
        double mean = 0.0;
        for (int i = 0; i < teeth_; ++i) mean += work.bent[at(i)] / teeth_;
        double value = work.bent[at(j)] - mean;
        for (int m = 0; m < basis_.size(); ++m) value -= bent_in_[at(m)] * static_cast<double>(basis_.pattern(m)[j]);
        return value;
    }

    [[nodiscard]] WheelErrors solve(Report* report) noexcept {
        WheelErrors result;
        if (report != nullptr) *report = Report{};
        if (teeth_ < 2 || cycles_ == 0) return result;
        Work work;
        solve_all(work);
        result.teeth = teeth_;
        const double shrink = work.uneven / (work.uneven + work.rest_noise);
        double error_square = 0.0;
        double variance_sum = 0.0;
        for (int j = 0; j < teeth_; ++j) {
            const double bent = beyond_patterns(work, j);
            double error = bent + shrink * (work.rest[at(j)] - bent);
            double variance = (1.0 - basis_.leverage(j)) * shrink * work.rest_noise;
            for (int m = 0; m < basis_.size(); ++m) {
                const auto q = static_cast<double>(basis_.pattern(m)[j]);
                error += q * work.mean[at(m)];
                variance += q * q * work.variance[at(m)];
            }
            result.error_deg[at(j)] = static_cast<float>(error);
            if (report != nullptr) report->se_deg[at(j)] = static_cast<float>(std::sqrt(std::max(variance, 0.0)));
            error_square += error * error;
            variance_sum += variance;
        }
        result.rms_se_deg = static_cast<float>(std::sqrt(std::max(variance_sum, 0.0) / teeth_));
        if (report == nullptr) return result;
        report->cycles = cycles_;
        report->rms_deg = std::sqrt(error_square / teeth_);
        report->rms_se_deg = static_cast<double>(result.rms_se_deg);
        report->jitter_deg = std::sqrt(work.jitter_square);
        report->usual_deg = std::sqrt(work.uneven);
        return result;
    }

    void solve_all(Work& work) noexcept {
        find_rest(work);
        find_bent(work);
        for (int m = 0; m < basis_.size(); ++m) bent_in_[at(m)] = basis_.project(m, work.bent.data());
        PitchFit::Seen seen;
        PitchNoise(basis_, view_, wobble_, cells_).fill(work.jitter_square, seen);
        set_wheel(work, seen);
        CrankWobble wobble = wobble_;
        for (int c = 0; c < seen.runs; ++c)
            if (!(seen.load[at(c)] == seen.load[at(c)])) wobble.doubt_load();
        PitchExplanations explanations(view_, wobble, seen);
        explanations.begin();
        for (int round = 0; round < kRounds; ++round) {
            set_wheel(work, seen);
            explanations.mix(work.mean, work.variance);
            if (round + 1 < kRounds) find_uneven(work);
        }
        // What the data alone say: without the prior of the wheel, but not without that of the crank.
        for (int m = 0; m < basis_.size(); ++m) {
            const double told = std::max(1.0 / work.variance[at(m)] - 1.0 / seen.wheel_variance[at(m)], 1e-9);
            work.seen_variance[at(m)] = 1.0 / told;
            work.seen[at(m)] =
                (work.mean[at(m)] / work.variance[at(m)] - seen.wheel_mean[at(m)] / seen.wheel_variance[at(m)]) / told;
        }
    }

    static constexpr int kRounds = 3;

    int teeth_ = 0;
    int cycles_ = 0;
    int block_cycles_ = 0;
    int half_count_ = 0;
    int rest_blocks_ = 0;
    bool fires_ = true;
    double speed_sum_ = 0.0;
    double load_sum_ = 0.0;
    double usual_half_ = -1.0;
    double rest_square_ = 0.0;
    double rest_weight_ = 0.0;
    ToothDeviation<Real> cycle_deviation_{};
    WheelBasis basis_{};
    HalfOrders halves_{};
    CrankView view_{};
    CrankWobble wobble_{};
    PitchCells cells_{};
    PerPattern bent_in_{};
    std::array<Real, kMaxTeeth> block_{};
    std::array<Real, kMaxTeeth> half_block_{};
    std::array<Real, kMaxTeeth> rest_sum_{};
};

template <class Real>
WheelFit PitchCorrection<Real>::compare(const WheelErrors& loaded) const noexcept {
    WheelFit fit;
    PitchCorrection last = *this;
    if (last.block_cycles_ > 0) last.end_block();
    if (loaded.teeth != teeth_ || teeth_ < 2 || last.cycles_ == 0) return fit;
    Work work;
    last.solve_all(work);
    const double loaded_variance = static_cast<double>(loaded.rms_se_deg) * static_cast<double>(loaded.rms_se_deg);
    double mean = 0.0;
    for (int j = 0; j < teeth_; ++j) mean += static_cast<double>(loaded.error_deg[at(j)]) / teeth_;
    // Another wheel is as uneven as this one, and as the loaded one is.
    const auto weigh = [&](double seen, double told, double variance, double share) {
        const double left = seen - told;
        const double same = variance + loaded_variance + kGrowth * kGrowth;
        const double other = variance + work.uneven;
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
        if (work.seen_variance[at(m)] > work.uneven) continue;
        weigh(work.seen[at(m)], part, work.seen_variance[at(m)], 1.0);
        ++fit.patterns;
    }
    const int free = rest_patterns();
    if (free > 0) {
        const double share = static_cast<double>(free) / teeth_;
        for (int j = 0; j < teeth_; ++j) {
            // Each tooth's rest has 1 - leverage of a degree of freedom; together `free`.
            const double own = std::max(1.0 - basis_.leverage(j), 0.05);
            const double scale = 1.0 / std::sqrt(own);
            weigh(work.rest[at(j)] * scale, told[at(j)] * scale, work.rest_noise, share);
        }
        fit.patterns += free;
    }
    fit.rms_left_deg = fit.patterns > 0 ? std::sqrt(fit.rms_left_deg / fit.patterns) : 0.0;
    return fit;
}

}  // namespace kurbel
