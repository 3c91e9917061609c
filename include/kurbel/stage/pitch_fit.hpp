// The wheel and the crank, told apart: all patterns in all runs explained by one engine and one wheel, with their uncertainty.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>

#include "kurbel/stage/crank_view.hpp"
#include "kurbel/stage/crank_wobble.hpp"
#include "kurbel/stage/pitch_cells.hpp"

namespace kurbel {

/// Bayesian regression with Gaussian priors. In pattern m and run c is seen: the wheel's error (the same in all runs; none in half
/// orders) + what the crank does by CrankWobble, which is not linear in its unknowns + what that description gets wrong, in
/// proportion to the swing and alike at speeds that are near each other + noise. All but the unknowns of the crank are integrated
/// out: what is left over has a covariance over the runs, one matrix a pattern. The unknowns are found by Gauss-Newton steps, their
/// uncertainty by the curvature there (Laplace's approximation; Bishop, Pattern Recognition and Machine Learning, sec. 4.4 and 6.4,
/// from memory). In double whatever the stages' number type. A few hundred KiB: not for a small stack.
class PitchFit {
  public:
    static constexpr int kRuns = PitchCells::kMost;
    static constexpr int kUnknowns = CrankWobble::kMost;
    static constexpr int kPatterns = CrankView::kMost;
    using Phasor = std::complex<double>;
    using Values = CrankWobble::Values;

    /// One number a pattern.
    using PerPattern = std::array<double, kPatterns>;

    /// What was seen, and how well.
    struct Seen {
        int runs = 0;
        std::array<double, kRuns> speed_rad_s{};
        std::array<double, kRuns> load{};
        std::array<bool, kRuns> fires{};
        std::array<std::array<double, kRuns>, kPatterns> value{};
        std::array<std::array<double, kRuns>, kPatterns> noise{};  ///< variances
        PerPattern wheel_mean{};
        PerPattern wheel_variance{};
    };

    /// Shares of its swing by which a pattern may do something else than described: as much more or less at all speeds, whatever the
    /// phase; and something of its own at each speed and those near it.
    struct Doubt {
        double amount = 0.04;
        double course = 0.1;
        /// In units of the speed's unevenness: what pistons and flow do is described to first order in it.
        double second = 2.0;
    };

    /// An explanation: kind of crank, its unknowns, how good it is.
    struct Found {
        CrankWobble::Kind kind{};
        Doubt doubt{};
        Values values{};
        double log_evidence = -1e300;
    };

    PitchFit(const CrankView& view, const CrankWobble& wobble, const Seen& seen) noexcept
        : view_(view), wobble_(wobble), seen_(seen) {
        for (int c = 0; c < seen.runs; ++c)
            for (int d = 0; d <= c; ++d) {
                const double apart = std::log(seen.speed_rad_s[at(c)] / seen.speed_rad_s[at(d)]) / kNear;
                near_[at(c)][at(d)] = std::exp(-0.5 * apart * apart);
            }
    }

    /// Improves `found` by at most so many steps and weighs it.
    void improve(Found& found, int steps) noexcept {
        choose(found);
        const double start = objective(found);
        double now = start;
        for (int i = 0; i < steps; ++i) {
            linearise(found);
            const double before = now;
            Found best = found;
            Vector step = information_.llt().solve(right_);
            for (int half = 0; half < 5; ++half) {
                Found next = found;
                for (int k = 0; k < active_; ++k) {
                    double& value = next.values[at(which_[at(k)])];
                    value = std::clamp(value + std::clamp(step[k], -kLongest, kLongest), -kFarthest, kFarthest);
                }
                const double cost = objective(next);
                if (cost < now) {
                    now = cost;
                    best = next;
                    break;
                }
                step *= 0.35;
            }
            if (!(before - now > 0.02)) break;
            found = best;
        }
        linearise(found);
        double log_information = 0.0;
        const Eigen::LLT<Matrix> root(information_);
        for (int k = 0; k < active_; ++k) log_information += std::log(root.matrixLLT()(k, k));
        found.log_evidence = -objective(found) - log_information;
    }

    /// The wheel's error in each of its patterns, and its variance, under the explanation that improve() was last called for.
    void wheel(PerPattern& mean, PerPattern& variance) noexcept {
        const Eigen::LLT<Matrix> root(information_);
        const int runs = seen_.runs;
        for (int m = 0; m < view_.wheel(); ++m) {
            const Root chol = covariance(m);
            RunMatrix slopes;
            RunVector left;
            whiten(m, chol, slopes, left);
            RunVector one = RunVector::Constant(runs, seen_.wheel_variance[at(m)]);
            chol.matrixL().solveInPlace(one);
            const Vector lever = slopes.transpose() * one;
            mean[at(m)] = seen_.wheel_mean[at(m)] + one.dot(left);
            variance[at(m)] = seen_.wheel_variance[at(m)] - one.squaredNorm() + lever.dot(root.solve(lever));
        }
    }

    /// The same before anything was seen.
    void prior(int m, double& mean, double& variance) const noexcept {
        mean = seen_.wheel_mean[at(m)];
        variance = seen_.wheel_variance[at(m)];
    }

  private:
    using Matrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kUnknowns, kUnknowns>;
    using Vector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kUnknowns, 1>;
    using RunSquare = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kRuns, kRuns>;
    using RunMatrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kRuns, kUnknowns>;
    using RunVector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kRuns, 1>;
    using Root = Eigen::LLT<RunSquare>;
    static constexpr int kTwice = 2 * CrankWobble::kOrders;
    static constexpr double kNear = 0.15;      // ln of speeds at which the description errs alike
    static constexpr double kRagged = 0.1;     // of that error which each run has alone
    static constexpr double kStep = 0.02;      // of slopes; all in standard deviations
    static constexpr double kLongest = 1.5;    // of one step
    static constexpr double kFarthest = 10.0;  // from what is likely

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }
    [[nodiscard]] CrankWobble::Run run(int c) const noexcept {
        return {seen_.speed_rad_s[at(c)], seen_.load[at(c)], seen_.fires[at(c)]};
    }

    void choose(const Found& found) noexcept {
        active_ = 0;
        for (int k = 0; k < wobble_.unknowns(); ++k)
            if (wobble_.is_on(k, found.kind)) which_[at(active_++)] = k;
    }

    void swing(const Found& found) noexcept {
        wobble_.set(found.values, found.kind);
        doubt_ = found.doubt;
        for (int c = 0; c < seen_.runs; ++c) {
            std::array<Phasor, kTwice + 1> energy{};
            double square = 0.0;
            for (int twice = 1; twice <= kTwice; ++twice) {
                const Phasor swing = wobble_.swing(twice, run(c), nullptr);
                first_[at(twice - 1)][at(c)] = swing;
                energy[at(twice)] = swing * Phasor(0.0, -to_rad(0.5 * twice));
                square += 2.0 * std::norm(energy[at(twice)]);
            }
            uneven_[at(c)] = std::sqrt(square);
            for (int twice = 1; twice <= kTwice; ++twice)
                swing_[at(twice - 1)][at(c)] = first_[at(twice - 1)][at(c)] + second_order(energy, twice);
        }
    }

    /// Time over angle goes with 1 / sqrt(1 + 2 E), and not with 1 - E, where E is what torque adds to the energy over its double: 1.5 E^2
    /// more, which mixes orders. Degrees.
    [[nodiscard]] static Phasor second_order(const std::array<Phasor, kTwice + 1>& energy, int twice) noexcept {
        Phasor sum{};
        for (int i = 1; i < twice; ++i) sum += energy[at(i)] * energy[at(twice - i)];
        for (int i = 1; i + twice <= kTwice; ++i) sum += 2.0 * energy[at(i + twice)] * std::conj(energy[at(i)]);
        return 1.5 * sum / Phasor(0.0, to_rad(0.5 * twice));
    }

    [[nodiscard]] double expected(int m, int c) const noexcept {
        double sum = 0.0;
        for (int row = 0; row < CrankView::kOrders; ++row) {
            const Phasor weight = view_.weight(m, row);
            if (weight == Phasor{}) continue;
            sum += (swing_[at(view_.twice_order(m, row) - 1)][at(c)] * weight).real();
        }
        return sum;
    }

    /// Of all that is seen in pattern m beside what the unknowns do.
    [[nodiscard]] Root covariance(int m) const noexcept {
        const int runs = seen_.runs;
        RunSquare sum = RunSquare::Constant(runs, runs, seen_.wheel_variance[at(m)]);
        for (int row = 0; row < CrankView::kOrders; ++row) {
            const double weight = 0.5 * std::norm(view_.weight(m, row));
            if (weight == 0.0) continue;
            const auto& swing = swing_[at(view_.twice_order(m, row) - 1)];
            for (int c = 0; c < runs; ++c)
                for (int d = 0; d <= c; ++d)
                    sum(c, d) += weight * alike(c, d) * (swing[at(c)] * std::conj(swing[at(d)])).real();
        }
        for (int c = 0; c < runs; ++c) sum(c, c) += seen_.noise[at(m)][at(c)];
        return Root(sum);
    }
    [[nodiscard]] double alike(int c, int d) const noexcept {
        return doubt_.amount * doubt_.amount + doubt_.second * doubt_.second * uneven_[at(c)] * uneven_[at(d)] +
               doubt_.course * doubt_.course * (near_[at(c)][at(d)] + (c == d ? kRagged * kRagged : 0.0));
    }

    /// Half of the squares of what is left, the logarithms of the determinants, and the unknowns' prior.
    [[nodiscard]] double objective(const Found& found) noexcept {
        swing(found);
        double sum = 0.0;
        for (int k = 0; k < active_; ++k) {
            const double value = found.values[at(which_[at(k)])];
            sum += 0.5 * value * value;
        }
        for (int m = 0; m < view_.size(); ++m) {
            const Root chol = covariance(m);
            RunVector left = left_over(m);
            chol.matrixL().solveInPlace(left);
            sum += 0.5 * left.squaredNorm();
            for (int c = 0; c < seen_.runs; ++c) sum += std::log(chol.matrixLLT()(c, c));
        }
        return sum;
    }

    [[nodiscard]] RunVector left_over(int m) const noexcept {
        RunVector left(seen_.runs);
        for (int c = 0; c < seen_.runs; ++c)
            left[c] = seen_.value[at(m)][at(c)] - seen_.wheel_mean[at(m)] - expected(m, c);
        return left;
    }

    void whiten(int m, const Root& chol, RunMatrix& slopes, RunVector& left) const noexcept {
        slopes.resize(seen_.runs, active_);
        for (int c = 0; c < seen_.runs; ++c)
            for (int k = 0; k < active_; ++k) slopes(c, k) = static_cast<double>(slope_[at(m)][at(c)][at(k)]);
        left = left_over(m);
        chol.matrixL().solveInPlace(slopes);
        chol.matrixL().solveInPlace(left);
    }

    void add_slope(int twice, int c, int k, Phasor slope) noexcept {
        const int row = (twice - 1) / 2;
        const int first = twice % 2 == 0 ? 0 : view_.wheel();
        const int end = twice % 2 == 0 ? view_.wheel() : view_.size();
        for (int m = first; m < end; ++m) {
            const Phasor weight = view_.weight(m, row);
            if (weight == Phasor{}) continue;
            slope_[at(m)][at(c)][at(k)] += static_cast<float>((slope * weight).real());
        }
    }

    /// Slopes, information and right side at `found`.
    void linearise(const Found& found) noexcept {
        for (int m = 0; m < view_.size(); ++m)
            for (int c = 0; c < seen_.runs; ++c) slope_[at(m)][at(c)].fill(0.0F);
        swing(found);
        std::array<Phasor, kUnknowns> slopes{};
        for (int c = 0; c < seen_.runs; ++c)
            for (int twice = 1; twice <= kTwice; ++twice) {
                static_cast<void>(wobble_.swing(twice, run(c), slopes.data()));
                for (int k = 0; k < active_; ++k)
                    if (!CrankWobble::of_chain(which_[at(k)])) add_slope(twice, c, k, slopes[at(which_[at(k)])]);
            }
        for (int k = 0; k < active_; ++k) {
            if (!CrankWobble::of_chain(which_[at(k)])) continue;
            Values moved = found.values;
            moved[at(which_[at(k)])] += kStep;
            wobble_.set(moved, found.kind);
            for (int c = 0; c < seen_.runs; ++c)
                for (int twice = 1; twice <= kTwice; ++twice)
                    add_slope(twice, c, k,
                              (wobble_.swing(twice, run(c), nullptr) - first_[at(twice - 1)][at(c)]) / kStep);
        }
        information_ = Matrix::Identity(active_, active_);
        right_.resize(active_);
        for (int k = 0; k < active_; ++k) right_[k] = -found.values[at(which_[at(k)])];
        RunMatrix rows;
        RunVector left;
        for (int m = 0; m < view_.size(); ++m) {
            const Root chol = covariance(m);
            whiten(m, chol, rows, left);
            information_.noalias() += rows.transpose() * rows;
            right_.noalias() += rows.transpose() * left;
        }
    }

    const CrankView& view_;
    CrankWobble wobble_;
    const Seen& seen_;
    std::array<std::array<double, kRuns>, kRuns> near_{};
    Doubt doubt_{};
    int active_ = 0;
    std::array<int, kUnknowns> which_{};
    std::array<std::array<Phasor, kRuns>, kTwice> first_{};  // to first order in torque
    std::array<std::array<Phasor, kRuns>, kTwice> swing_{};
    std::array<double, kRuns> uneven_{};  // speed over the mean, root mean square
    std::array<std::array<std::array<float, kUnknowns>, kRuns>, kPatterns> slope_{};
    Matrix information_{};
    Vector right_{};
};

}  // namespace kurbel
