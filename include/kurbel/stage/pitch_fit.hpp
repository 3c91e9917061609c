// Regression of one pattern of the wheel on what speed, load and fuel do: the wheel's share of it, with its uncertainty.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/stage/crank_wobble.hpp"

namespace kurbel {

/// Bayesian linear regression with a Gaussian prior, streamed over at most some dozens of observations (Bishop, Pattern
/// Recognition and Machine Learning, sec. 3.3 and 3.5, from memory). In double whatever the stages' number type: differences of
/// large sums.
class PitchFit {
  public:
    static constexpr int kParts = CrankWobble::kParts;

    /// Begins anew. `wheel`: mean and variance of the wheel's error before any data; `wobble`: variances of what the crank's parts may be off
    /// by, `still` beside the wheel's.
    void begin(double wheel_mean, double wheel_variance, const CrankWobble::Point& wobble) noexcept {
        mean_ = wheel_mean;
        wheel_variance_ = wheel_variance;
        wobble_ = wobble;
        information_.setZero();
        right_.setZero();
        square_ = 0.0;
        log_noise_ = 0.0;
        information_(0, 0) = 1.0 / still_variance();
        log_prior_ = std::log(still_variance());
        for (int i = 1; i < kParts; ++i) {
            const double variance = std::max(wobble[static_cast<std::size_t>(i)], kLeast);
            information_(i, i) = 1.0 / variance;
            log_prior_ += std::log(variance);
        }
    }

    /// One observation with its variance.
    void add(const CrankWobble::Point& x, double y, double variance) noexcept {
        const Eigen::Map<const Vector> regressor(x.data());
        const double left = y - mean_;
        information_.noalias() += regressor * (regressor.transpose() / variance);
        right_ += regressor * (left / variance);
        square_ += left * left / variance;
        log_noise_ += std::log(variance);
    }

    struct Answer {
        double mean = 0.0;  ///< the wheel's error in this pattern
        double variance = 0.0;
        double seen = 0.0;  ///< what the data alone say of it
        double seen_variance = 0.0;
        double log_evidence = 0.0;  ///< of the observations under this prior, up to a constant
    };

    [[nodiscard]] Answer solve() const noexcept {
        const Eigen::LLT<Matrix> root(information_);
        const Vector best = root.solve(right_);
        Vector unit = Vector::Zero();
        unit[0] = 1.0;
        const double variance = root.solve(unit)[0];
        double log_information = 0.0;
        for (int i = 0; i < kParts; ++i) log_information += 2.0 * std::log(root.matrixLLT()(i, i));
        Answer answer;
        answer.log_evidence = -0.5 * (square_ - best.dot(right_) + log_information + log_prior_ + log_noise_);
        // Reciprocating masses and wheel stand side by side: what is there is shared out by how much each may be.
        const double share = wheel_variance_ / still_variance();
        answer.mean = mean_ + share * best[0];
        answer.variance = share * share * variance + wheel_variance_ * (1.0 - share);
        // Without the prior of the wheel, but not without that of the crank.
        const double told = std::max(1.0 / variance - 1.0 / still_variance(), 1e-9);
        answer.seen = mean_ + best[0] / variance / told;
        answer.seen_variance = 1.0 / told + wobble_[0];
        return answer;
    }

    /// Answers under several assumptions, each as likely beforehand, mixed by their evidence.
    class Mixture {
      public:
        void add(const Answer& answer) noexcept {
            const double most = std::max(most_, answer.log_evidence);
            const double old = std::exp(most_ - most);
            const double now = std::exp(answer.log_evidence - most);
            most_ = most;
            sum_ = sum_ * old + now;
            const auto mix = [&](double& to, double value) { to = to * old + value * now; };
            mix(mean_, answer.mean);
            mix(square_, answer.mean * answer.mean + answer.variance);
            mix(seen_, answer.seen);
            mix(seen_square_, answer.seen * answer.seen + answer.seen_variance);
        }

        [[nodiscard]] Answer answer() const noexcept {
            Answer answer;
            answer.mean = mean_ / sum_;
            answer.variance = square_ / sum_ - answer.mean * answer.mean;
            answer.seen = seen_ / sum_;
            answer.seen_variance = seen_square_ / sum_ - answer.seen * answer.seen;
            answer.log_evidence = most_ + std::log(sum_);
            return answer;
        }

      private:
        double most_ = -1e300;
        double sum_ = 0.0;
        double mean_ = 0.0;
        double square_ = 0.0;
        double seen_ = 0.0;
        double seen_square_ = 0.0;
    };

  private:
    static constexpr double kLeast = 1e-12;
    using Vector = Eigen::Matrix<double, kParts, 1>;
    using Matrix = Eigen::Matrix<double, kParts, kParts>;

    [[nodiscard]] double still_variance() const noexcept { return wheel_variance_ + wobble_[0]; }

    double mean_ = 0.0;
    double wheel_variance_ = 1.0;
    CrankWobble::Point wobble_{};
    Matrix information_ = Matrix::Identity();
    Vector right_ = Vector::Zero();
    double square_ = 0.0;
    double log_prior_ = 0.0;
    double log_noise_ = 0.0;
};

}  // namespace kurbel
