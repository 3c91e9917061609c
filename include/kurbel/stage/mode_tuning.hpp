// What misfires tell of the torsion mode: where it lies, how it fades, how much of it there is.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/stage/reference_torque.hpp"

namespace kurbel {

/// Frequency, damping and size of one torsion mode, each over what is expected of the hypothesis that it belongs to. Hypotheses lie 12 % apart
/// in frequency, and over a window a mode turns several times, so that the one in between is a quarter of a turn off at its end; and what is
/// rather a mean over frequencies fades sooner than the mode does. Three states that stand still, told by each misfire (extended Kalman
/// filter in information form: any textbook on estimation).
class ModeTuning {
  public:
    void begin() noexcept {
        state_.fill(0.0F);
        information_.fill(0.0F);
        for (std::size_t i = 0; i < kStates; ++i) information_[i * kStates + i] = 1.0F / (kPrior[i] * kPrior[i]);
        told_ = 0;
    }

    [[nodiscard]] double frequency() const noexcept { return std::exp(static_cast<double>(state_[kFrequency])); }
    [[nodiscard]] double damping() const noexcept {
        return kFadingMean * std::exp(static_cast<double>(state_[kDamping]));
    }
    [[nodiscard]] float size() const noexcept { return std::exp(state_[kSize]); }

    /// Whether another misfire would tell something: many have told enough, and the next one in a few keeps it up.
    [[nodiscard]] bool wants_more() noexcept { return told_++ < kMany || told_ % kFew == 0; }

    /// One misfire. `deviation`: of `known` bins from what is expected with the mode as it is tuned, of which the place shows `gain`; `mode`:
    /// writes the mode of a frequency and damping; `noise`: variance of a bin.
    template <std::size_t kLength, class Mode, class Noise>
    void learn(const std::array<float, kLength>& deviation, int known, float gain, const Mode& mode, const Noise& noise,
               float trust) noexcept {
        using Response = std::array<float, kLength>;
        const double f = frequency();
        const double d = damping();
        Response now{};
        Response up{};
        Response down{};
        Response more{};
        Response less{};
        mode(f, d, now);
        mode(f * (1.0 + kStep), d, up);
        mode(f * (1.0 - kStep), d, down);
        mode(f, d * (1.0 + kDampingStep), more);
        mode(f, d * (1.0 - kDampingStep), less);
        Vector pull = Vector::Zero();
        Eigen::Map<Square> information(information_.data());
        const float scale = gain * size();
        for (int j = 0; j < known; ++j) {
            const auto at = static_cast<std::size_t>(j);
            const Vector slope = scale * Vector(now[at], (up[at] - down[at]) / static_cast<float>(2.0 * kStep),
                                                (more[at] - less[at]) / static_cast<float>(2.0 * kDampingStep));
            const float weight = trust / (kCorrelated * noise(j));
            information += weight * slope * slope.transpose();
            pull += weight * deviation[at] * slope;
        }
        const Vector step = information.ldlt().solve(pull);
        for (std::size_t i = 0; i < kStates; ++i) {
            const float moved = std::clamp(step[static_cast<int>(i)], -kMostStep[i], kMostStep[i]);
            state_[i] = std::clamp(state_[i] + moved, -kMost[i], kMost[i]);
        }
    }

  private:
    enum Part : std::size_t { kSize, kFrequency, kDamping, kStates };
    using State = std::array<float, kStates>;
    using Vector = Eigen::Matrix<float, kStates, 1>;
    using Square = Eigen::Matrix<float, kStates, kStates>;
    // Deviations of the logarithms. Inertia shares are known to some tenths, a frequency to half of the way to the next hypothesis, and the
    // damping is 1 to 3 % instead of 7 (engineering ranges, from memory).
    static constexpr State kPrior{0.4F, 0.04F, 0.8F};
    static constexpr State kMost{1.0F, 0.08F, 1.6F};
    static constexpr State kMostStep{0.3F, 0.03F, 0.4F};  // in one go: the model is linear nearby
    static constexpr double kStep = 0.01;
    static constexpr double kDampingStep = 0.1;
    static constexpr float kCorrelated = 3.0F;  // bins of a window are not independent
    static constexpr int kMany = 64;
    static constexpr int kFew = 16;

    State state_{};
    std::array<float, kStates * kStates> information_{};
    int told_ = 0;
};

}  // namespace kurbel
