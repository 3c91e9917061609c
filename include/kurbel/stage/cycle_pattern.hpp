// What a healthy engine does at each place of its cycle: learned energy differences over load and speed.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/expected_work.hpp"
#include "kurbel/stage/healthy_cycle.hpp"
#include "kurbel/stage/pattern_terms.hpp"

namespace kurbel {

/// Per bin a polynomial, linear in load and quadratic in energy: gas torque follows load; inertia torque and wheel error follow
/// speed squared; and the crank's torsion lets more of both through the nearer the speed comes to a resonance. Physics sets how much each
/// term may explain, so that one operating point extrapolates sensibly to the next. What repeats with every revolution, as wheel and pistons
/// do, and what changes its sign, the half orders, where only cylinders differ, are learned apart.
template <class Real>
class CyclePattern {
  public:
    /// `work` is the typical work of one firing over inertia at full load, rad^2/s^2; `healthy` what the engine
    /// should do, as far as that is known; `fuel_told`: the load is a diesel's fuel; `turns` of the crank make a cycle.
    void begin(int bins, bool load_known, Real work, const HealthyCycle& healthy = {}, bool fuel_told = false,
               int turns = 2) noexcept {
        bins_ = bins;
        half_ = turns == 2 && bins % 2 == 0 ? bins / 2 : 0;
        cycles_ = 0;
        noise_ = -1;
        off_ = 0;
        expected_off_ = 0;
        work_ = work;
        load_known_ = load_known;
        begin_with(healthy, load_known, fuel_told, static_cast<float>(work));
        whole_.begin(whole_prior());
        halves_.begin(half_prior());
    }

    [[nodiscard]] Real at(int bin, const PatternPoint<Real>& point) const noexcept {
        const Terms x = PatternTerms::terms(point);
        double sum = 0;
        for (std::size_t i = 0; i < kTerms; ++i)
            sum += x[i] * static_cast<double>(coefficient_[i][static_cast<std::size_t>(bin)]);
        return static_cast<Real>(sum);
    }

    /// The whole cycle at one point, by place in the cycle; zeros behind its last bin.
    void whole(const PatternPoint<Real>& point, std::array<Real, kMaxBins>& value) const noexcept {
        const Terms x = PatternTerms::terms(point);
        constexpr std::size_t kBeside = 4;  // sums that stay in registers
        static_assert(kMaxBins % kBeside == 0);
        for (std::size_t first = 0; first < kMaxBins; first += kBeside) {
            std::array<double, kBeside> sum{};
            for (std::size_t i = 0; i < kTerms; ++i)
                for (std::size_t b = 0; b < kBeside; ++b)
                    sum[b] += x[i] * static_cast<double>(coefficient_[i][first + b]);
            for (std::size_t b = 0; b < kBeside; ++b) value[first + b] = static_cast<Real>(sum[b]);
        }
    }

    /// Writes to `left` what is left of `count` bins from `bin` on (not over the end of the cycle) without `trend` and the pattern;
    /// operating points from `load` and `energy`. None of them may lie where `left` does.
    void take_out(int bin, int count, const float* load, const float* energy, const float* measured, float trend,
                  float* __restrict left) const noexcept {
        std::array<const float*, kTerms> c{};
        for (std::size_t i = 0; i < kTerms; ++i) c[i] = coefficient_[i].data() + bin;
        for (int i = 0; i < count; ++i) {
            const float e = energy[i] * static_cast<float>(1.0 / PatternTerms::kTwistEnergy);
            const float pattern =
                c[0][i] + c[2][i] * e + c[4][i] * e * e + load[i] * (c[1][i] + c[3][i] * e + c[5][i] * e * e);
            left[i] = measured[i] - trend - pattern;
        }
    }

    /// Variance of the pattern at this point over the variance of one cycle's residual: about 1/n after n like cycles.
    [[nodiscard]] Real doubt(const PatternPoint<Real>& point) const noexcept {
        return noise_ > Real(0) ? static_cast<Real>(variance(PatternTerms::terms(point))) / noise_ : Real(1);
    }

    /// The same, and more while the last cycles were off by more than the filter tells of itself (adaptive filtering by the innovations:
    /// Mehra, IEEE Trans. Autom. Control 17:693, 1972, from memory). The noise of one cycle is the weight of what is believed without.
    [[nodiscard]] Real adapted_doubt(const PatternPoint<Real>& point) const noexcept {
        return doubt(point) *
               std::clamp(static_cast<Real>((off_ + 1.0F) / (expected_off_ + 1.0F)), Real(1), kMostUnrest);
    }

    /// Takes one cycle's residuals (measured less at(), misfires removed), one per bin. `line`: the work as shift() has it over the load.
    void learn(const std::array<Real, kMaxBins>& residual, const PatternPoint<Real>& point,
               const WorkLine<Real>& line = {}) noexcept {
        Real mean_square = 0;
        for (int b = 0; b < bins_; ++b) mean_square += square(residual[static_cast<std::size_t>(b)]);
        mean_square /= Real(bins_);
        const Terms x = PatternTerms::terms(point);
        const auto known_whole = whole_.spread(x);
        const auto known_halves = halves_.spread(x);
        const double known = mean_of(known_whole.variance, known_halves.variance);
        // The first cycle only shows noise and pattern together; a twentieth is taken as noise until more is known.
        if (noise_ < Real(0)) noise_ = Real(0.05) * mean_square;
        follow_surprise(mean_square, known, unrest(point));
        const auto noise = static_cast<double>(noise_ * unrest(point));
        const auto work = static_cast<double>(line.rest + line.by_load * point.load);
        const Terms gain = whole_.learn(x, known_whole, noise, work);
        add(gain, halves_.learn(x, known_halves, noise, work), residual);
        widen(point);
        // Residuals hold what is still to be learned, too; that part is not noise.
        const Real share = Real(1) / Real(std::min(cycles_ + 2, 100));
        const Real seen = mean_square * noise_ / (static_cast<Real>(known) + noise_);
        if (cycles_ > 0) noise_ += share * (seen - noise_);
        ++cycles_;
    }

    /// Random walk of the coefficients, never less sure than at the start. The wheel does not change, the engine warms up and
    /// wears in; and where the operating point moves, the terms bend in ways (torsion) that three coefficients do not hold.
    void widen(const PatternPoint<Real>& point) noexcept {
        const Real faster =
            cycles_ > 0 ? std::fabs(point.energy - last_.energy) / std::max(point.energy, last_.energy) : Real(0);
        const double bent = square(0.012);
        const double moved = 0.01 * static_cast<double>(faster);
        const double wheel = square(0.0003) + moved;
        const Terms step{square(0.003), bent, wheel, bent, bent, bent};
        whole_.widen(step, whole_prior());
        // When cylinders burn changes with the speed, too.
        const double burns = bent + moved;
        halves_.widen({square(0.003) + moved, burns, wheel, burns, burns, burns}, half_prior());
        last_ = point;
    }

    /// Moves each bin by `share` of a firing's work at full charge: where it was wrong about one place.
    void shift(std::array<Real, kMaxBins> share, const WorkLine<Real>& line) noexcept {
        centre(share);
        for (int b = 0; b < bins_; ++b) {
            const auto at = static_cast<std::size_t>(b);
            coefficient_[1][at] += static_cast<float>(share[at] * line.by_load);
            coefficient_[0][at] += static_cast<float>(share[at] * line.rest);
        }
    }

    /// `share` of a firing's work at full charge was in all that was learned. It goes with the work from now on, as if that had been known before, and
    /// not with what else may have explained it. The same with a minus takes that back.
    void give_to_work(std::array<Real, kMaxBins> share, const WorkLine<Real>& line) noexcept {
        shift(share, line);
        centre(share);
        for (Real& value : share) value = -value;
        add(whole_.of_work(), halves_.of_work(), share);
    }

    /// Moves each bin by `difference` at this point; elsewhere by as much as follows from what is known there.
    void correct(std::array<Real, kMaxBins> difference, const PatternPoint<Real>& point) noexcept {
        centre(difference);
        const Terms x = PatternTerms::terms(point);
        add(PatternTerms::gain(whole_.spread(x)), PatternTerms::gain(halves_.spread(x)), difference);
    }

    /// Turns the pattern by half a cycle, after the phase was found to be the other one.
    void turn() noexcept {
        const int half = bins_ / 2;
        for (auto& part : coefficient_) std::rotate(part.begin(), part.begin() + half, part.begin() + bins_);
    }

    [[nodiscard]] int cycles() const noexcept { return cycles_; }
    /// Misfires may be in it that have not been told from health yet.
    [[nodiscard]] bool young() const noexcept { return cycles_ < kYoung; }
    [[nodiscard]] Real noise() const noexcept { return noise_; }

  private:
    using Terms = PatternTerms::Terms;
    static constexpr std::size_t kTerms = PatternTerms::kTerms;
    static constexpr Real kMostUnrest = Real(25);
    static constexpr float kRecent = 2.0F;  // cycles
    static constexpr int kYoung = 64;       // cycles

    /// Variances of the coefficients of what repeats with every turn, where nothing is known (engineering ranges): burn timing and torsion bend a
    /// bin by some tenth of a firing's work; pitch error of 0.2 degrees rms and inertia torque that is not told give some per cent of the kinetic
    /// energy; at kTwistEnergy torsion changes what of the torque reaches the sensor by about as much as there is of it.
    [[nodiscard]] Terms whole_prior() const noexcept {
        const auto w = static_cast<double>(work_);
        const double loaded = load_known_ ? 1.0 : 0.0;
        return {square(load_known_ ? 0.05 * w : 0.2 * w),
                loaded * square(0.1 * w),
                square(0.03 * PatternTerms::kTwistEnergy),
                loaded * square(0.5 * w),
                square(0.3 * w),
                loaded * square(0.3 * w)};
    }
    /// The same of half orders, which neither wheel nor pistons have: a cylinder that does no work bends a bin by a fifth of it, and they are low,
    /// so that torsion changes them by less.
    [[nodiscard]] Terms half_prior() const noexcept {
        Terms prior = whole_prior();
        const auto w = static_cast<double>(work_);
        prior[1] = load_known_ ? square(0.2 * w) : 0.0;
        prior[2] = square(0.002 * PatternTerms::kTwistEnergy) + (load_known_ ? 0.0 : square(0.3 * w));
        prior[3] = load_known_ ? square(0.25 * w) : 0.0;
        prior[4] = square(load_known_ ? 0.05 * w : 0.3 * w);
        return prior;
    }

    /// Variance of a bin, of both parts.
    [[nodiscard]] double variance(const Terms& x) const noexcept {
        return mean_of(whole_.spread(x).variance, halves_.spread(x).variance);
    }
    [[nodiscard]] double mean_of(double whole, double halves) const noexcept {
        return half_ > 0 ? 0.5 * (whole + halves) : whole;
    }

    /// A pattern has no mean: what a firing takes from the whole cycle is in the slow trend, by which it is measured.
    void centre(std::array<Real, kMaxBins>& cycle) const noexcept {
        Real sum = 0;
        for (int b = 0; b < bins_; ++b) sum += cycle[static_cast<std::size_t>(b)];
        for (int b = 0; b < bins_; ++b) cycle[static_cast<std::size_t>(b)] -= sum / static_cast<Real>(bins_);
    }

    /// Adds to each bin's coefficients `whole` times what `difference` repeats, and `halves` times what it does not.
    void add(const Terms& whole, const Terms& halves, const std::array<Real, kMaxBins>& difference) noexcept {
        for (int b = 0; b < bins_; ++b) {
            const auto at = static_cast<std::size_t>(b);
            const Real other = difference[static_cast<std::size_t>(b < half_ ? b + half_ : b - half_)];
            const auto repeated = static_cast<double>(half_ > 0 ? Real(0.5) * (difference[at] + other) : other);
            const double changed = static_cast<double>(difference[at]) - repeated;
            for (std::size_t i = 0; i < kTerms; ++i)
                coefficient_[i][at] += static_cast<float>(whole[i] * repeated + halves[i] * changed);
        }
    }

    template <class Number>
    [[nodiscard]] static constexpr Number square(Number x) noexcept {
        return x * x;
    }

    /// How much more than in a steady state a cycle scatters in which load or speed move. Charge follows the load channel late, and
    /// the cycle's mean is not what a firing had: a step of 2 % of load, or of 15 % of energy, doubles the variance (engineering
    /// range, from memory).
    [[nodiscard]] Real unrest(const PatternPoint<Real>& point) const noexcept {
        if (cycles_ == 0) return Real(1);
        const Real faster = (point.energy - last_.energy) / std::max(point.energy, last_.energy);
        const Real more = square((point.load - last_.load) / Real(0.02)) + square(faster / Real(0.15));
        return Real(1) + std::min(more, kMostUnrest);
    }

    /// Follows by how much of a cycle's noise the cycles are off, noise taken out, and by how much they are expected to be.
    void follow_surprise(Real mean_square, double expected, Real unrest) noexcept {
        constexpr Real kMost = Real(1000);
        // At first what is off are misfires. And an engine without noise tells nothing of it.
        if (young() || !(noise_ * kMost > mean_square)) return;
        off_ += (static_cast<float>(mean_square / noise_ - unrest) - off_) / kRecent;
        expected_off_ +=
            (static_cast<float>(std::min(static_cast<Real>(expected) / noise_, kMost)) - expected_off_) / kRecent;
    }

    /// Without a load channel the size of the work is a guess, and a pattern from a guess is worse than none. What swings with the
    /// kinetic energy begins with nothing: pistons are out of the bins already (bin_history.hpp). A diesel's compression does not go with the fuel.
    void begin_with(const HealthyCycle& healthy, bool load_known, bool fuel_told, float work) noexcept {
        using Expected = ExpectedWork<float>;
        for (auto& part : coefficient_) part.fill(0.0F);
        for (int b = 0; b < bins_; ++b) {
            const auto at = static_cast<std::size_t>(b);
            const float burn = load_known ? work * healthy.combustion[at] : 0.0F;
            const float squeeze = load_known ? work / Expected::kFullPressure_bar * healthy.compression[at] : 0.0F;
            coefficient_[0][at] = fuel_told ? squeeze : -Expected::kNoWorkLoad * burn;
            coefficient_[1][at] = fuel_told ? burn : burn + squeeze;
        }
    }

    int bins_ = 0;
    int half_ = 0;  // bins of one turn, where a cycle has two of them
    int cycles_ = 0;
    bool load_known_ = false;
    Real work_ = 1;
    Real noise_ = -1;
    float off_ = 0;           // what the last cycles were off by, in noises of a cycle
    float expected_off_ = 0;  // and were expected to be
    PatternPoint<Real> last_{};
    PatternTerms whole_{};
    PatternTerms halves_{};
    std::array<std::array<float, kMaxBins>, kTerms> coefficient_{};
};

}  // namespace kurbel
