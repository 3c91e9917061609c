// How exactly edges of a waveform are timed, beside the Cramer-Rao bound; prints a table.
//
// A sine of N samples a tooth in white noise. Bound: sigma N / (2 pi A) sqrt(2 / N), by the samples of one tooth distance; see
// tests/signal/accuracy_test.cpp for its source. Columns: rms error in samples, and that over the bound.
#include <array>
#include <chrono>
#include <cstdio>

#include "../tests/signal/waves.hpp"

int main() {
    using namespace kurbel;
    constexpr std::array<double, 4> kDecibels{40.0, 30.0, 20.0, 15.0};
    std::printf("| samples a tooth |");
    for (const double db : kDecibels) std::printf(" %.0f dB: rms, samples | over bound |", db);
    std::printf("\n|---|");
    for (std::size_t i = 0; i < kDecibels.size(); ++i) std::printf("---|---|");
    std::printf("\n");
    double samples = 0.0;
    double seconds = 0.0;
    for (const double period : {2.5, 2.7, 3.0, 3.3, 4.7, 8.1, 13.3, 21.7, 31.7, 61.3, 125.3, 313.7, 1234.5, 20000.3}) {
        std::printf("| %.1f |", period);
        for (const double db : kDecibels) {
            const double sigma = std::sqrt(0.5) / std::pow(10.0, db / 20.0);
            const int teeth = period > 1e4 ? 100 : period > 1e3 ? 300 : 1000;
            const auto wave = test::sine(period, teeth, sigma, 21);
            signal::WaveformSettings settings = test::settings_at(1e6);
            settings.kind = signal::SensorKind::inductive;
            settings.flank = signal::Flank::falling;
            const auto start = std::chrono::steady_clock::now();
            const auto found = test::find(wave, settings);
            seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
            samples += 2.0 * static_cast<double>(wave.size());
            double sum = 0.0;
            for (const auto& edge : found.edges) {
                const double place = edge.time_s * 1e6 / period - 0.3;
                const double error = (place - std::round(place)) * period;
                sum += error * error;
            }
            const double rms = std::sqrt(sum / static_cast<double>(found.edges.size()));
            std::printf(" %.4f | %.2f |", rms, rms / (sigma * period / test::kTurn * std::sqrt(2.0 / period)));
        }
        std::printf("\n");
    }
    std::printf("\n%.0f ns a sample (wall time)\n", seconds / samples * 1e9);
    return 0;
}
