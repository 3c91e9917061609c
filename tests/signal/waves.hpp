// Waveforms whose edges are known, and edges found in them.
#pragma once

#include <cmath>
#include <cstdint>
#include <random>
#include <span>
#include <vector>

#include "kurbel/read/edges_from_waveform.hpp"

namespace kurbel::test {

inline constexpr double kTurn = 6.28318530717958647692;

inline signal::WaveformSettings settings_at(double rate_hz) {
    signal::WaveformSettings settings;
    settings.rate_hz = rate_hz;
    return settings;
}

template <class Sample>
read::WaveformResult find(const std::vector<Sample>& samples, const signal::WaveformSettings& settings) {
    const auto result = read::edges_from_waveform(std::span<const Sample>(samples), settings);
    return result.value;
}

/// White noise of the same numbers for every standard library.
class Noise {
  public:
    explicit Noise(std::uint64_t seed) : engine_(seed) {}
    double operator()() {
        // Sum of twelve uniform numbers, as good as normal for these tests.
        double sum = -6.0;
        for (int i = 0; i < 12; ++i) sum += static_cast<double>(engine_() >> 11) * 0x1p-53;
        return sum;
    }

  private:
    std::mt19937_64 engine_;
};

/// -sin with `period` samples a tooth: falling edges at (k + 0.3) periods.
inline std::vector<double> sine(double period, int teeth, double noise, std::uint64_t seed = 7) {
    Noise draw(seed);
    std::vector<double> samples(static_cast<std::size_t>(period * teeth));
    for (std::size_t i = 0; i < samples.size(); ++i)
        samples[i] = -std::sin(kTurn * (static_cast<double>(i) / period - 0.3)) + noise * draw();
    return samples;
}

/// A 60-2 coil: dipoles of about half a pitch, `pitch` samples a tooth; falling edges at k pitches, k = 0 to 57 of 60.
inline std::vector<double> coil(double pitch, int turns, double noise, double first_height = 1.0) {
    Noise draw(3);
    std::vector<double> samples(static_cast<std::size_t>(pitch * 60 * turns));
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double place = static_cast<double>(i) / pitch;
        double sum = 0.0;
        for (int k = static_cast<int>(place) - 4; k <= static_cast<int>(place) + 5; ++k) {
            const int tooth = ((k % 60) + 60) % 60;
            if (tooth >= 58) continue;
            const double x = (place - k) / 0.25;
            sum -= (tooth == 0 ? first_height : 1.0) * x * std::exp(-0.5 * x * x);
        }
        samples[i] = sum + noise * draw();
    }
    return samples;
}

/// Falling edges of `coil` that lie well inside.
inline std::vector<double> coil_edges(double pitch, int turns) {
    std::vector<double> edges;
    for (int k = 0; k < 60 * turns; ++k)
        if (k % 60 < 58) edges.push_back(k * pitch);
    return edges;
}

}  // namespace kurbel::test
