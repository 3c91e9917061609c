// Between samples: a band-limited signal from its neighbours.
//
// Sampling theorem (Shannon 1949, from memory): a signal without content above half the rate is the sum of its samples times
// sinc. Cut off by a Kaiser window (Kaiser 1974, from memory; beta 8 leaves 1e-4 outside the band), 16 samples on either side
// pass what lies below 0.42 of the rate.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

namespace kurbel::signal {

/// Weights for places k/8 between two samples.
template <class Real>
class BandLimited {
  public:
    static constexpr int kSteps = 8;  ///< places between two samples
    static constexpr int kHalf = 16;  ///< samples needed on either side

    void configure() noexcept {
        constexpr double kPi = 3.14159265358979323846;
        constexpr double kBeta = 6.5;
        for (int step = 0; step < kSteps; ++step) {
            double sum = 0.0;
            std::array<double, 2 * kHalf> row{};
            for (int i = 0; i < 2 * kHalf; ++i) {
                const double x = static_cast<double>(i - kHalf + 1) - static_cast<double>(step) / kSteps;
                const double share = x / kHalf;
                const double window = share * share < 1.0 ? bessel(kBeta * std::sqrt(1.0 - share * share)) : 0.0;
                row[static_cast<std::size_t>(i)] = (x == 0.0 ? 1.0 : std::sin(kPi * x) / (kPi * x)) * window;
                sum += row[static_cast<std::size_t>(i)];
            }
            // A constant stays one.
            for (int i = 0; i < 2 * kHalf; ++i)
                weights_[static_cast<std::size_t>(step)][static_cast<std::size_t>(i)] =
                    static_cast<Real>(row[static_cast<std::size_t>(i)] / sum);
        }
    }

    /// Value `step`/8 after sample `index`, 0 <= step < 8; `sample(i)` gives samples index - 15 to index + 16.
    template <class Sample>
    [[nodiscard]] Real at(std::int64_t index, int step, Sample&& sample) const noexcept {
        if (step == 0) return sample(index);
        const auto& row = weights_[static_cast<std::size_t>(step)];
        Real sum = 0;
        for (int i = 0; i < 2 * kHalf; ++i) sum += row[static_cast<std::size_t>(i)] * sample(index - kHalf + 1 + i);
        return sum;
    }

  private:
    /// Modified Bessel function of order 0, by its series.
    [[nodiscard]] static double bessel(double x) noexcept {
        double sum = 1.0;
        double term = 1.0;
        for (int k = 1; k < 40; ++k) {
            term *= 0.25 * x * x / (static_cast<double>(k) * k);
            sum += term;
        }
        return sum;
    }

    std::array<std::array<Real, 2 * kHalf>, kSteps> weights_{};
};

}  // namespace kurbel::signal
