// Slow torque that swings more than it did while windows were learned: clutch, gear change, road.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/window_covariance.hpp"

namespace kurbel {

/// Load torque over one window as two states, its level and its slope, beside the lost work. Their prior variance follows what the last
/// windows show of them beyond usual scatter and beyond what lost combustion could leave there; where nothing swings it is zero, and
/// nothing changes. The measurement update is that of a Kalman filter with fixed states: for window covariance C, response g and
/// modes B of prior variance S, C + B S B' stands in the place of C (matrix inversion lemma).
class DrivelineSwing {
  public:
    static constexpr int kModes = 2;
    using Modes = std::array<float, kModes>;

    void begin() noexcept { variance_.fill(0.0F); }

    /// After covariance and responses changed: how much healthy windows of `size` bins scatter along each mode.
    void match(const WindowCovariance& covariance, int size) noexcept {
        size_ = size;
        for (int m = 0; m < kModes; ++m)
            spread_[static_cast<std::size_t>(m)] =
                std::sqrt(std::max(covariance.along([this, m](int j) { return gauge(m, j); }), 0.0F));
    }

    /// Prior variance of the states in window x, from itself, the windows before, and a step of the engine's own torque, which makes
    /// the driveline swing by as much: mean work a bin over the firing's. All zero where nothing swings.
    [[nodiscard]] Modes variance(const Window& x, const ResponseBank::Response& response, float step) const noexcept {
        const Modes seen = held(x);
        const Modes lost = held(head_of(response, size_));
        Modes result;
        for (std::size_t m = 0; m < kModes; ++m) {
            const float beyond = std::fabs(seen[m]) - kUsual * spread_[m] - kLosses * std::fabs(lost[m]);
            result[m] = std::max({variance_[m], beyond > 0.0F ? beyond * beyond : 0.0F, step * step});
        }
        return result;
    }

    /// Takes the states' variance in the window that was measured; a swing lasts for several of them.
    void follow(const Modes& variance) noexcept {
        for (std::size_t m = 0; m < kModes; ++m) {
            variance_[m] = kKept * variance[m];
            if (variance_[m] < kNothing * spread_[m] * spread_[m]) variance_[m] = 0.0F;
        }
    }

    /// Whether the last windows have swung.
    [[nodiscard]] bool swings() const noexcept { return any(variance_); }
    /// What that adds to the variance of an amplitude to which a level of one adds `level`, and a slope `tilt`.
    [[nodiscard]] float variance_of(float level, float tilt) const noexcept {
        return level * level * variance_[0] + tilt * tilt * variance_[1];
    }

    [[nodiscard]] static bool any(const Modes& variance) noexcept { return variance[0] + variance[1] > 0.0F; }

    /// The match of a whole window beside states of this variance; `states`: what they are then.
    [[nodiscard]] ResponseBank::Match match(const ResponseBank::Match& alone, const Window& x,
                                            const ResponseBank::Response& response, const WindowCovariance& covariance,
                                            const Modes& variance, Modes& states) const noexcept {
        std::array<Window, kModes> weight;
        for (int m = 0; m < kModes; ++m) {
            Window shape{};
            for (int j = 0; j < size_; ++j) shape[static_cast<std::size_t>(j)] = mode(m, j);
            covariance.solve(shape, weight[static_cast<std::size_t>(m)], size_);
        }
        // Information of the states, and what window and response tell of them.
        float level = inverse(variance[0]);
        float slope = inverse(variance[1]);
        float both = 0;
        Modes of_window{};
        Modes of_response{};
        for (int j = 0; j < size_; ++j) {
            const auto at = static_cast<std::size_t>(j);
            level += weight[0][at] * mode(0, j);
            both += weight[0][at] * mode(1, j);
            slope += weight[1][at] * mode(1, j);
            for (std::size_t m = 0; m < kModes; ++m) {
                of_window[m] += weight[m][at] * x[at];
                of_response[m] += weight[m][at] * response[at];
            }
        }
        const float determinant = level * slope - both * both;
        const auto solve = [&](const Modes& b) {
            return Modes{(slope * b[0] - both * b[1]) / determinant, (level * b[1] - both * b[0]) / determinant};
        };
        const Modes response_states = solve(of_response);
        const float precision =
            alone.precision - of_response[0] * response_states[0] - of_response[1] * response_states[1];
        if (!(precision > kLeastPrecision * alone.precision)) return alone;
        const float product =
            alone.amplitude * alone.precision - of_window[0] * response_states[0] - of_window[1] * response_states[1];
        const float amplitude = product / precision;
        states = solve({of_window[0] - amplitude * of_response[0], of_window[1] - amplitude * of_response[1]});
        return {amplitude, precision};
    }

    void take_out(const Modes& states, Window& x) const noexcept {
        for (int j = 0; j < size_; ++j)
            x[static_cast<std::size_t>(j)] -= states[0] * mode(0, j) + states[1] * mode(1, j);
    }

  private:
    static constexpr float kUsual = 2.0F;   // deviations
    static constexpr float kLosses = 1.5F;  // combustions
    static constexpr float kKept = 0.7F;
    static constexpr float kNothing = 0.01F;
    static constexpr float kLeastPrecision = 1e-3F;

    [[nodiscard]] static float inverse(float variance) noexcept { return 1.0F / std::max(variance, 1e-9F); }

    /// Level: one; slope: from minus to plus one.
    [[nodiscard]] float mode(int m, int j) const noexcept {
        return m == 0 ? 1.0F : 2.0F * static_cast<float>(j) / static_cast<float>(size_ - 1) - 1.0F;
    }
    /// What values by place hold of the modes: the sum of gauge() times value, by way of their plain sum and their moment.
    [[nodiscard]] Modes held(const Window& x) const noexcept {
        static constexpr Window kPlaces = [] {
            Window places{};
            for (int j = 0; j < kMaxWindow; ++j) places[static_cast<std::size_t>(j)] = static_cast<float>(j);
            return places;
        }();
        const float all = sum_of(x);
        const float moment = dot(kPlaces, x);
        const auto n = static_cast<float>(size_);
        return {all / n, (2.0F * moment - (n - 1.0F) * all) * 3.0F / (n * (n + 1.0F))};
    }
    /// The same over its square: what a window holds of it.
    [[nodiscard]] float gauge(int m, int j) const noexcept {
        const auto n = static_cast<float>(size_);
        return m == 0 ? 1.0F / n : mode(1, j) * 3.0F * (n - 1.0F) / (n * (n + 1.0F));
    }

    int size_ = 2;
    Modes spread_{};
    Modes variance_{};
};

}  // namespace kurbel
