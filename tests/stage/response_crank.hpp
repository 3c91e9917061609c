// A crank whose bank of responses is tried, and what torsion makes of a lost combustion.
#pragma once

#include <cmath>
#include <random>
#include <vector>

#include "kurbel/stage/response_bank.hpp"
#include "stage/rigid_crank.hpp"

namespace kurbel::test {

using Response = ResponseBank::Response;

struct Bank : MatchedCrank {
    explicit Bank(const EngineConfig& engine = engine_of({1, 3, 4, 2}), SensorAt at = SensorAt::front,
                  double speed_rpm = 1500.0, double noise = 0.05)
        : MatchedCrank(engine, at, speed_rpm, noise) {}
    /// A window in which the response of kind `hypothesis` stands with amplitude 1.
    [[nodiscard]] Window window_of(int place) const {
        Window x{};
        for (int j = 0; j < size; ++j)
            x[static_cast<std::size_t>(j)] = bank.response(place)[static_cast<std::size_t>(j)];
        return x;
    }
    void add_noise(Window& x, double deviation) {
        for (int j = 0; j < size; ++j)
            x[static_cast<std::size_t>(j)] += static_cast<float>(deviation * normal_(random_));
    }

  private:
    std::mt19937_64 random_{19};
    std::normal_distribution<double> normal_;
};

/// Response of a bin grid to one lost combustion on a damped oscillator of `per_rev` cycles a revolution, added to the rigid
/// crank: from the pulse in fine steps, written down anew.
inline Window with_torsion(const CrankParts& parts, double per_rev, double gain) {
    constexpr double kStep_deg = 0.25;
    const CombustionWork combustion(SliderCrank::of(parts.config.engine), 9.0);
    const int bins = parts.size + 1;
    std::vector<double> mean(static_cast<std::size_t>(bins), 0.0);
    const double first_deg = -parts.before * parts.grid.bin_deg;
    const int steps = static_cast<int>(std::lround(bins * parts.grid.bin_deg / kStep_deg));
    const double turn_rad = to_rad(kStep_deg) * per_rev;
    const double damping = 0.07 * turn_rad;
    double rigid = 0.0;
    double cosine = 0.0;
    double sine = 0.0;
    for (int i = 0; i < steps; ++i) {
        const double deg = first_deg + (i + 0.5) * kStep_deg;
        const int pulse = static_cast<int>(std::floor((deg - CombustionWork::kFirst_deg) / CombustionWork::kStep_deg));
        const double work = pulse < 0 ? 0.0 : combustion.pulse(pulse) * kStep_deg / CombustionWork::kStep_deg;
        rigid += work;
        const double turned = std::exp(-damping) * (cosine * std::cos(turn_rad) - sine * std::sin(turn_rad)) + work;
        sine = std::exp(-damping) * (cosine * std::sin(turn_rad) + sine * std::cos(turn_rad));
        cosine = turned;
        const auto bin = static_cast<std::size_t>(static_cast<double>(i) * kStep_deg / parts.grid.bin_deg);
        mean[bin] += (rigid + gain * cosine) * kStep_deg / parts.grid.bin_deg;
    }
    Window x{};
    for (int j = 0; j < parts.size; ++j)
        x[static_cast<std::size_t>(j)] =
            static_cast<float>(mean[static_cast<std::size_t>(j)] - mean[static_cast<std::size_t>(j + 1)]);
    return x;
}

}  // namespace kurbel::test
