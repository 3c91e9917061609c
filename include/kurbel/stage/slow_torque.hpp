// Whether slow torque on the driveline explains a window as well as lost combustion does.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/window_covariance.hpp"

namespace kurbel {

/// A second look at one window, for firings that seem to have lost their work. A hole in the road, a clutch that bites and a gear
/// change push the crank as well, but what tyres, half-shafts and clutch springs pass on is smooth and begins anywhere, while lost
/// combustion is sharp and begins at its TDC. Slow torque is taken as a Gaussian process (Rasmussen and Williams, Gaussian
/// Processes for Machine Learning, 2006, ch. 4.2: squared exponential; Bayes factors as in ch. 5.2), of a size that nobody knows,
/// beside usual scatter; "one combustion lost" and "none lost" are both allowed it, and the better one shows in their likelihoods.
class SlowTorque {
  public:
    using Matrix = WindowCovariance::Matrix;

    /// A window of `size` bins of `bin_s` seconds each, of a firing that should do `useful` of the work at full charge. `usual`: the
    /// covariance of healthy windows (its lower triangle counts), to which others who may have lost work can be added.
    SlowTorque(Matrix& usual, float bin_s, float useful) noexcept : usual_(usual), useful_(useful) {
        const float bins = bin_s / kTime_s;
        for (int lag = 0; lag < usual.rows(); ++lag) {
            const float off = static_cast<float>(lag) * bins;
            likeness_[static_cast<std::size_t>(lag)] = std::exp(-0.5F * off * off);
        }
    }

    /// Another firing, `shift` bins later, may have lost its work as well, or not.
    void allow(const ResponseBank::Response& response, int shift) noexcept {
        const auto size = static_cast<int>(usual_.rows());
        for (int j = shift; j < size; ++j)
            for (int i = j; i < size; ++i)
                usual_(i, j) +=
                    response[static_cast<std::size_t>(i - shift)] * response[static_cast<std::size_t>(j - shift)];
    }

    /// Logarithm of the likelihood ratio of "lost" over "not lost" for window x. The lost share is one, give or take `error`; it may
    /// have been lost a bin earlier or later than usual, as where spark or injection have moved.
    [[nodiscard]] float loss_ratio(const Window& x, const ResponseBank::Response& response,
                                   float error) const noexcept {
        const auto size = static_cast<int>(usual_.rows());
        Columns whitened(size, 1 + kMoves);
        std::array<float, kSizes.size() * kMoves> lost{};
        std::array<float, kSizes.size()> healthy{};
        for (std::size_t k = 0; k < kSizes.size(); ++k) {
            const float deviation = kSizes[k] / useful_;
            Matrix c = usual_;
            for (int j = 0; j < size; ++j)
                for (int i = j; i < size; ++i)
                    c(i, j) += deviation * deviation * likeness_[static_cast<std::size_t>(i - j)];
            const Eigen::LLT<Matrix> llt(c);
            if (llt.info() != Eigen::Success) return 0.0F;
            for (int j = 0; j < size; ++j) {
                whitened(j, 0) = x[static_cast<std::size_t>(j)];
                for (int m = 0; m < kMoves; ++m) {
                    const int from = j + 1 - m;
                    whitened(j, 1 + m) = from >= 0 && from < size ? response[static_cast<std::size_t>(from)] : 0.0F;
                }
            }
            llt.matrixL().solveInPlace(whitened);
            healthy[k] = std::log(kShare[k]) - 0.5F * whitened.col(0).squaredNorm();
            for (int j = 0; j < size; ++j) healthy[k] -= std::log(llt.matrixLLT()(j, j));
            for (int m = 0; m < kMoves; ++m) {
                const auto as_lost = whitened.col(1 + m);
                lost[k * kMoves + static_cast<std::size_t>(m)] =
                    healthy[k] + (m == 1 ? kLogUsual : kLogMoved) +
                    gain(whitened.col(0).dot(as_lost), as_lost.squaredNorm(), error);
            }
        }
        return log_of_sum(lost) - log_of_sum(healthy);
    }

  private:
    // Shuffle of 2 to 10 Hz, wheel hop of 10 to 15 Hz behind soft half-shafts and tyres (common practice, no source): a spectrum of
    // 10 Hz standard deviation.
    static constexpr float kTime_s = static_cast<float>(0.5 * std::numbers::inv_pi / 10.0);
    // Deviation of the torque, as work a bin over the work of a firing at full charge: none, a tenth, half of the mean torque that
    // four cylinders have there. One firing in twenty stands in some.
    static constexpr std::array<float, 3> kSizes{0.0F, 0.02F, 0.07F};
    static constexpr std::array<float, 3> kShare{0.95F, 0.025F, 0.025F};

    static constexpr int kMoves = 3;             // earlier, as usual, later
    static constexpr float kLogUsual = -0.223F;  // four in five
    static constexpr float kLogMoved = -2.303F;  // one in ten

    using Columns = Eigen::Matrix<float, Eigen::Dynamic, Eigen::Dynamic, Eigen::ColMajor, kMaxWindow, 1 + kMoves>;

    /// Log-likelihood ratio of amplitude one, give or take `error`, over amplitude zero: g'C^-1 x = `product`, g'C^-1 g = `precision`.
    [[nodiscard]] static float gain(float product, float precision, float error) noexcept {
        const float known = 1.0F / (error * error);
        const float sum = known + product;
        return 0.5F * (sum * sum / (known + precision) - known - std::log1p(precision / known));
    }

    template <class Logs>
    [[nodiscard]] static float log_of_sum(const Logs& logs) noexcept {
        const float most = *std::max_element(logs.begin(), logs.end());
        float sum = 0.0F;
        for (const float value : logs) sum += std::exp(value - most);
        return most + std::log(sum);
    }

    Matrix& usual_;
    float useful_;
    std::array<float, kMaxWindow> likeness_{};  // by bins apart
};

}  // namespace kurbel
