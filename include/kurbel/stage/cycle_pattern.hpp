// What a healthy engine does at each place of its cycle: learned energy differences over load and speed.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/expected_work.hpp"
#include "kurbel/stage/healthy_cycle.hpp"

namespace kurbel {

/// Operating point as the pattern sees it: a constant, the load, and the mean of half speed squared.
template <class Real>
struct PatternPoint {
    Real load = 0;    ///< relative charge; 0 where it is not known
    Real energy = 0;  ///< mean of half speed squared over a cycle, rad^2/s^2
};

/// The work of a firing over that at full charge, as a line over what the pattern takes for load.
template <class Real>
struct WorkLine {
    Real rest = 0;  ///< where the load is 0
    Real by_load = 0;
};

/// Per bin a polynomial, linear in load and quadratic in energy: gas torque follows load; inertia torque and wheel error follow
/// speed squared; and the crank's torsion lets more of both through the nearer the speed comes to a resonance. All bins share one
/// 6 x 6 Kalman gain per cycle (random-walk coefficients). Physics sets how much each term may explain, so that one
/// operating point extrapolates sensibly to the next.
template <class Real>
class CyclePattern {
  public:
    /// `work` is the typical work of one firing over inertia at full load, rad^2/s^2; `healthy` what the engine
    /// should do, as far as that is known; `fuel_told`: the load is a diesel's fuel.
    void begin(int bins, bool load_known, Real work, const HealthyCycle& healthy = {},
               bool fuel_told = false) noexcept {
        bins_ = bins;
        cycles_ = 0;
        noise_ = -1;
        off_ = 0;
        expected_off_ = 0;
        of_work_.fill(0.0F);
        begin_with(healthy, load_known, fuel_told, static_cast<float>(work));
        // Engineering ranges: burn timing and torsion bend a bin by some tenth of a firing's work; pitch error of 0.2 degrees rms
        // and inertia torque that is not told give some per cent of the kinetic energy; at kTwistEnergy torsion changes what of
        // the torque reaches the sensor by about as much as there is of it.
        const auto w = static_cast<double>(work);
        const double loaded = load_known ? 1.0 : 0.0;
        prior_ = {square(load_known ? 0.05 * w : 0.2 * w),
                  loaded * square(0.1 * w),
                  square(0.03 * kTwistEnergy),
                  loaded * square(0.5 * w),
                  square(0.3 * w),
                  loaded * square(0.3 * w)};
        covariance_.fill(0);
        for (std::size_t i = 0; i < kTerms; ++i) covariance_[i * kTerms + i] = prior_[i];
    }

    [[nodiscard]] Real at(int bin, const PatternPoint<Real>& point) const noexcept {
        const Terms x = terms(point);
        double sum = 0;
        for (std::size_t i = 0; i < kTerms; ++i)
            sum += x[i] * static_cast<double>(coefficient_[i][static_cast<std::size_t>(bin)]);
        return static_cast<Real>(sum);
    }

    /// The whole cycle at one point, by place in the cycle; zeros behind its last bin.
    void whole(const PatternPoint<Real>& point, std::array<Real, kMaxBins>& value) const noexcept {
        const Terms x = terms(point);
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
            const float e = energy[i] * static_cast<float>(1.0 / kTwistEnergy);
            const float pattern =
                c[0][i] + c[2][i] * e + c[4][i] * e * e + load[i] * (c[1][i] + c[3][i] * e + c[5][i] * e * e);
            left[i] = measured[i] - trend - pattern;
        }
    }

    /// Variance of the pattern at this point over the variance of one cycle's residual: about 1/n after n like cycles.
    [[nodiscard]] Real doubt(const PatternPoint<Real>& point) const noexcept {
        return noise_ > Real(0) ? static_cast<Real>(spread(point).variance) / noise_ : Real(1);
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
        const Spread known = spread(point);
        // The first cycle only shows noise and pattern together; a twentieth is taken as noise until more is known.
        if (noise_ < Real(0)) noise_ = Real(0.05) * mean_square;
        follow_surprise(mean_square, known.variance, unrest(point));
        const double total = known.variance + static_cast<double>(noise_ * unrest(point));
        Terms gain{};
        for (std::size_t i = 0; i < kTerms; ++i) gain[i] = known.covariance[i] / total;
        add(gain, residual);
        follow_work(gain, point, line);
        for (std::size_t i = 0; i < kTerms; ++i)
            for (std::size_t j = 0; j < kTerms; ++j) covariance_[i * kTerms + j] -= gain[i] * gain[j] * total;
        widen(point);
        // Residuals hold what is still to be learned, too; that part is not noise.
        const Real share = Real(1) / Real(std::min(cycles_ + 2, 100));
        const Real seen = mean_square * noise_ / (static_cast<Real>(known.variance) + noise_);
        if (cycles_ > 0) noise_ += share * (seen - noise_);
        ++cycles_;
    }

    /// Random walk of the coefficients, never less sure than at the start. The wheel does not change, the engine warms up and
    /// wears in; and where the operating point moves, the terms bend in ways (torsion) that three coefficients do not hold.
    void widen(const PatternPoint<Real>& point) noexcept {
        const Real faster =
            cycles_ > 0 ? std::fabs(point.energy - last_.energy) / std::max(point.energy, last_.energy) : Real(0);
        const double bent = square(0.012);
        const Terms step{square(0.003), bent, square(0.0003) + 0.01 * static_cast<double>(faster), bent, bent, bent};
        for (std::size_t i = 0; i < kTerms; ++i) {
            double& variance = covariance_[i * kTerms + i];
            variance = std::min(variance + step[i] * prior_[i], prior_[i]);
        }
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
    void give_to_work(const std::array<Real, kMaxBins>& share, const WorkLine<Real>& line) noexcept {
        shift(share, line);
        std::array<Real, kMaxBins> learned = share;
        centre(learned);
        for (Real& value : learned) value = -value;
        Terms held{};
        std::copy(of_work_.begin(), of_work_.end(), held.begin());
        add(held, learned);
    }

    /// Moves each bin by `difference` at this point; elsewhere by as much as follows from what is known there.
    void correct(std::array<Real, kMaxBins> difference, const PatternPoint<Real>& point) noexcept {
        centre(difference);
        const Spread at_point = spread(point);
        if (!(at_point.variance > 0.0)) return;
        Terms gain{};
        for (std::size_t i = 0; i < kTerms; ++i) gain[i] = at_point.covariance[i] / at_point.variance;
        add(gain, difference);
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
    static constexpr std::size_t kTerms = 6;
    static constexpr Real kMostUnrest = Real(25);
    static constexpr float kRecent = 2.0F;  // cycles
    static constexpr int kYoung = 64;       // cycles
    /// Half speed squared at 4000 rpm, rad^2/s^2: a usual crank's first mode is near its fourth to sixth order there.
    static constexpr double kTwistEnergy = 87700;

    // In double: what is known well differs from what is not by too much for float.
    using Terms = std::array<double, kTerms>;

    /// What is not known of the pattern at one point: covariance of each coefficient with the pattern there, and its variance.
    struct Spread {
        Terms covariance{};
        double variance = 0;
    };

    [[nodiscard]] static Terms terms(const PatternPoint<Real>& point) noexcept {
        const auto load = static_cast<double>(point.load);
        const double energy = static_cast<double>(point.energy) / kTwistEnergy;
        return {1.0, load, energy, load * energy, energy * energy, load * energy * energy};
    }

    [[nodiscard]] Spread spread(const PatternPoint<Real>& point) const noexcept {
        const Terms x = terms(point);
        Spread s;
        for (std::size_t i = 0; i < kTerms; ++i) {
            for (std::size_t j = 0; j < kTerms; ++j) s.covariance[i] += covariance_[i * kTerms + j] * x[j];
            s.variance += x[i] * s.covariance[i];
        }
        return s;
    }

    /// A pattern has no mean: what a firing takes from the whole cycle is in the slow trend, by which it is measured.
    void centre(std::array<Real, kMaxBins>& cycle) const noexcept {
        Real sum = 0;
        for (int b = 0; b < bins_; ++b) sum += cycle[static_cast<std::size_t>(b)];
        for (int b = 0; b < bins_; ++b) cycle[static_cast<std::size_t>(b)] -= sum / static_cast<Real>(bins_);
    }

    /// All bins share one gain, so that what they learn of anything that goes with the work is alike but for its size.
    void follow_work(const Terms& gain, const PatternPoint<Real>& point, const WorkLine<Real>& line) noexcept {
        const Terms x = terms(point);
        double left = static_cast<double>(line.rest + line.by_load * point.load);
        for (std::size_t i = 0; i < kTerms; ++i) left -= x[i] * static_cast<double>(of_work_[i]);
        for (std::size_t i = 0; i < kTerms; ++i) of_work_[i] += static_cast<float>(gain[i] * left);
    }

    /// Adds to each bin's coefficients `gain` times the bin's `difference`.
    void add(const Terms& gain, const std::array<Real, kMaxBins>& difference) noexcept {
        for (std::size_t i = 0; i < kTerms; ++i) {
            const auto g = static_cast<Real>(gain[i]);
            for (std::size_t b = 0; b < static_cast<std::size_t>(bins_); ++b)
                coefficient_[i][b] += static_cast<float>(g * difference[b]);
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
    int cycles_ = 0;
    Real noise_ = -1;
    float off_ = 0;           // what the last cycles were off by, in noises of a cycle
    float expected_off_ = 0;  // and were expected to be
    PatternPoint<Real> last_{};
    Terms prior_{};
    std::array<float, kTerms>
        of_work_{};  // coefficients that a bin would have which held the work alone, one at full charge
    std::array<double, kTerms * kTerms> covariance_{};
    std::array<std::array<float, kMaxBins>, kTerms> coefficient_{};
};

}  // namespace kurbel
