// Whether slow torque on the driveline explains a window as well as lost combustion does.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/whitened_rows.hpp"
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

    /// The charge may be another than it is taken for: all firings do more or less, which has this `shape`, by a share of this `deviation`.
    void allow_charge(const Window& shape, float deviation) noexcept {
        const auto size = static_cast<int>(usual_.rows());
        const float variance = deviation * deviation;
        for (int j = 0; j < size; ++j)
            for (int i = j; i < size; ++i)
                usual_(i, j) += variance * shape[static_cast<std::size_t>(i)] * shape[static_cast<std::size_t>(j)];
    }

    /// Logarithm of the likelihood ratio of "lost" over "not lost" for window x. The lost share is one, give or take `error`; it may
    /// have been lost a bin earlier or later than usual, as where spark or injection have moved.
    [[nodiscard]] float loss_ratio(const Window& x, const ResponseBank::Response& response,
                                   float error) const noexcept {
        std::array<float, kSizes.size() * kMoves> lost{};
        std::array<float, kSizes.size()> healthy{};
        for (std::size_t k = 0; k < kSizes.size(); ++k) {
            Whitened whitened;
            if (!whiten(kSizes[k] / useful_, x, response, whitened)) return 0.0F;
            healthy[k] = std::log(kShare[k]) - 0.5F * whitened.square - whitened.log_root;
            for (std::size_t m = 0; m < kMoves; ++m)
                lost[k * kMoves + m] = healthy[k] + (m == 1 ? kLogUsual : kLogMoved) +
                                       gain(whitened.product[m], whitened.precision[m], error);
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

    static constexpr std::size_t kMoves = 3;     // earlier, as usual, later
    static constexpr float kLogUsual = -0.223F;  // four in five
    static constexpr float kLogMoved = -2.303F;  // one in ten

    /// Window x and the responses g against a covariance C, and the logarithm of the root of its determinant.
    struct Whitened {
        float square = 0;                       // x'C^-1 x
        std::array<float, kMoves> product{};    // g'C^-1 x
        std::array<float, kMoves> precision{};  // g'C^-1 g
        float log_root = 0;
    };

    /// Where slow torque has this `deviation`; false where that is no covariance. Window and responses are further rows beneath the
    /// covariance.
    [[nodiscard]] bool whiten(float deviation, const Window& x, const ResponseBank::Response& response,
                              Whitened& result) const noexcept {
        const auto size = static_cast<std::size_t>(usual_.rows());
        WhitenedRows<float, kMaxWindow, 1 + kMoves> rows;
        for (std::size_t j = 0; j < size; ++j) {
            auto& column = rows[j];
            column.fill(0.0F);
            for (std::size_t i = j; i < size; ++i)
                column[i] = usual_(static_cast<int>(i), static_cast<int>(j)) + deviation * deviation * likeness_[i - j];
            column[size] = x[j];
            for (std::size_t m = 0; m < kMoves; ++m)
                column[size + 1 + m] = j + 1 >= m && j + 1 - m < size ? response[j + 1 - m] : 0.0F;
            const float root = rows.finish(j, size + 1 + kMoves);
            if (!(root > 0.0F)) return false;
            result.log_root += std::log(root);
            result.square += column[size] * column[size];
            for (std::size_t m = 0; m < kMoves; ++m) {
                result.product[m] += column[size] * column[size + 1 + m];
                result.precision[m] += column[size + 1 + m] * column[size + 1 + m];
            }
        }
        return true;
    }

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
