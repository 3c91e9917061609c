#include "study/alike_cylinders.hpp"

#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "kurbel/simulate/random.hpp"
#include "kurbel/stage/healthy_scatter.hpp"

namespace kurbel {

namespace {

constexpr int kSettle = 500;
constexpr int kDraws = 4000;
/// Of a cylinder, before anything was measured: engines are cranked because one is suspected.
constexpr double kFaulty = 0.2;
/// A faulty cylinder holds any share of the others' pressure down to this.
constexpr double kLeastHeld = 0.01;
/// Standard deviations that sound cylinders may have, each as likely: within 10 % of each other is called good (common practice, no
/// source), most are far nearer.
constexpr std::array<double, 5> kSpreads{0.003, 0.006, 0.012, 0.024, 0.048};

double square(double x) { return x * x; }
double below(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }

class Sampler {
  public:
    Sampler(const Eigen::VectorXd& measured, const Eigen::MatrixXd& covariance)
        : measured_(measured),
          now_(measured.array() - measured.maxCoeff()),
          faulty_(static_cast<std::size_t>(measured.size()), false) {
        const Eigen::VectorXd ones = Eigen::VectorXd::Ones(measured.size());
        precision_ = covariance.inverse();
        const Eigen::VectorXd common = precision_ * ones;
        precision_ -= common * common.transpose() / ones.dot(common);
        for (Eigen::Index k = 0; k < now_.size(); ++k)
            faulty_[static_cast<std::size_t>(k)] = now_[k] < -2.0 * kSpreads.back();
    }

    AlikeCylinders run() {
        AlikeCylinders result;
        result.draws.resize(kDraws, now_.size());
        for (int i = -kSettle; i < kDraws; ++i) {
            for (Eigen::Index k = 0; k < now_.size(); ++k) draw(k);
            draw_spread();
            if (i >= 0) result.draws.row(i) = now_;
        }
        result.mean = result.draws.colwise().mean();
        return result;
    }

  private:
    /// One cylinder, all others as they are.
    void draw(Eigen::Index k) {
        const double variance = 1.0 / precision_(k, k);
        const Eigen::VectorXd off = now_ - measured_;
        const double seen = now_[k] - variance * precision_.row(k).dot(off);
        const double sound_variance = variance + square(spread_);
        const double sound = (1.0 - kFaulty) * std::exp(-0.5 * square(seen) / sound_variance) /
                             std::sqrt(2.0 * std::numbers::pi * sound_variance);
        // Pressures evenly below the sound ones: a density of e^x in their logarithm x, which moves the normal one's middle.
        const double deviation = std::sqrt(variance);
        const double middle = seen + variance;
        const double lowest = below((std::log(kLeastHeld) - middle) / deviation);
        const double highest = below(-middle / deviation);
        const double faulty =
            kFaulty / (1.0 - kLeastHeld) * std::exp(seen + 0.5 * variance) * std::max(highest - lowest, 0.0);
        const bool is_faulty = random_.uniform() * (sound + faulty) < faulty;
        faulty_[static_cast<std::size_t>(k)] = is_faulty;
        if (is_faulty) {
            const double drawn = middle + deviation * quantile(lowest + (highest - lowest) * random_.uniform());
            now_[k] = std::clamp(drawn, std::log(kLeastHeld), 0.0);  // the quantile is good to 5e-4
            return;
        }
        const double gain = square(spread_) / sound_variance;
        now_[k] = gain * seen + std::sqrt(gain * variance) * random_.normal();
    }

    void draw_spread() {
        double squares = 0.0;
        double number = 0.0;
        for (Eigen::Index k = 0; k < now_.size(); ++k)
            if (!faulty_[static_cast<std::size_t>(k)]) {
                squares += square(now_[k]);
                number += 1.0;
            }
        std::array<double, kSpreads.size()> log{};
        for (std::size_t s = 0; s < log.size(); ++s)
            log[s] = -number * std::log(kSpreads[s]) - 0.5 * squares / square(kSpreads[s]);
        const double most = *std::max_element(log.begin(), log.end());
        double total = 0.0;
        for (double& one : log) total += one = std::exp(one - most);
        double left = random_.uniform() * total;
        for (std::size_t s = 0; s < log.size(); ++s) {
            spread_ = kSpreads[s];
            if ((left -= log[s]) <= 0.0) break;
        }
    }

    /// Deviate that a standard normal variable stays below with chance `share`.
    static double quantile(double share) {
        const double tail = normal_quantile(std::max(std::min(share, 1.0 - share), 1e-300));
        return share < 0.5 ? -tail : tail;
    }

    const Eigen::VectorXd& measured_;
    Eigen::MatrixXd precision_;  // of differences: what all share is taken out
    Eigen::VectorXd now_;        // about the level of sound cylinders
    std::vector<bool> faulty_;
    double spread_ = kSpreads[2];
    simulate::Random random_{20261128, 6};
};

}  // namespace

AlikeCylinders alike_cylinders(const Eigen::VectorXd& measured, const Eigen::MatrixXd& covariance) {
    return Sampler(measured, covariance).run();
}

}  // namespace kurbel
