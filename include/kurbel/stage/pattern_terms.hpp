// What is known of the coefficients that all bins of a pattern share.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>

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

/// A Kalman filter of the coefficients of a polynomial, linear in load and quadratic in energy, that random-walk. Every bin learns by the same
/// gain, so that it is kept once.
class PatternTerms {
  public:
    static constexpr std::size_t kTerms = 6;
    /// Half speed squared at 4000 rpm, rad^2/s^2: a usual crank's first mode is near its fourth to sixth order there.
    static constexpr double kTwistEnergy = 87700;
    // In double: what is known well differs from what is not by too much for float.
    using Terms = std::array<double, kTerms>;

    /// Variances of the coefficients before anything was learned.
    void begin(const Terms& prior) noexcept {
        of_work_.fill(0.0F);
        covariance_.fill(0.0);
        for (std::size_t i = 0; i < kTerms; ++i) at(i, i) = prior[i];
    }

    template <class Real>
    [[nodiscard]] static Terms terms(const PatternPoint<Real>& point) noexcept {
        const auto load = static_cast<double>(point.load);
        const double energy = static_cast<double>(point.energy) / kTwistEnergy;
        return {1.0, load, energy, load * energy, energy * energy, load * energy * energy};
    }

    /// What is not known at one point: covariance of each coefficient with the polynomial there, and its variance.
    struct Spread {
        Terms covariance{};
        double variance = 0;
    };
    [[nodiscard]] Spread spread(const Terms& x) const noexcept {
        Spread s;
        for (std::size_t i = 0; i < kTerms; ++i) {
            for (std::size_t j = 0; j < kTerms; ++j) s.covariance[i] += at(i, j) * x[j];
            s.variance += x[i] * s.covariance[i];
        }
        return s;
    }

    /// Takes what was measured at point `x`, where the work was `work` of that at full charge, give or take `noise` (variance). The gain of
    /// each coefficient.
    Terms learn(const Terms& x, const Spread& known, double noise, double work) noexcept {
        const double total = known.variance + noise;
        Terms gain{};
        for (std::size_t i = 0; i < kTerms; ++i) gain[i] = known.covariance[i] / total;
        double left = work;
        for (std::size_t i = 0; i < kTerms; ++i) left -= x[i] * static_cast<double>(of_work_[i]);
        for (std::size_t i = 0; i < kTerms; ++i) of_work_[i] += static_cast<float>(gain[i] * left);
        for (std::size_t i = 0; i < kTerms; ++i)
            for (std::size_t j = 0; j <= i; ++j) at(i, j) -= gain[i] * gain[j] * total;
        return gain;
    }

    /// The gain with which a difference at one point, where this is known, is shared out.
    [[nodiscard]] static Terms gain(const Spread& known) noexcept {
        Terms gain{};
        if (!(known.variance > 0.0)) return gain;
        for (std::size_t i = 0; i < kTerms; ++i) gain[i] = known.covariance[i] / known.variance;
        return gain;
    }

    /// The coefficients wander, but are never known less than at the start.
    void widen(const Terms& step, const Terms& prior) noexcept {
        for (std::size_t i = 0; i < kTerms; ++i) at(i, i) = std::min(at(i, i) + step[i] * prior[i], prior[i]);
    }

    /// Coefficients that a bin would have which held the work alone, one at full charge.
    [[nodiscard]] Terms of_work() const noexcept {
        Terms held{};
        std::copy(of_work_.begin(), of_work_.end(), held.begin());
        return held;
    }

  private:
    [[nodiscard]] double& at(std::size_t i, std::size_t j) noexcept { return covariance_[place(i, j)]; }
    [[nodiscard]] double at(std::size_t i, std::size_t j) const noexcept { return covariance_[place(i, j)]; }
    /// Of a symmetric matrix one half is kept.
    [[nodiscard]] static constexpr std::size_t place(std::size_t i, std::size_t j) noexcept {
        return i >= j ? i * (i + 1) / 2 + j : j * (j + 1) / 2 + i;
    }

    std::array<double, kTerms*(kTerms + 1) / 2> covariance_{};
    std::array<float, kTerms> of_work_{};
};

}  // namespace kurbel
