// How exactly edges of a waveform are timed, beside the Cramer-Rao bound; prints a table.
//
// A sine of N samples a tooth in white noise. Bound: sigma N / (2 pi A) sqrt(2 / N), by the samples of one tooth distance; see
// tests/signal/accuracy_test.cpp for its source. Columns: rms error in samples, the bound in samples, and one over the other. Two limits are
// asked for: 0.02 samples at 40 dB, and 1.5 bounds down to 20 dB. From about 80 samples a tooth on the bound alone, 1.5 times, is more than
// the first allows; the last column says which of the two a row can be held to.
#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>

#include "../tests/signal/waves.hpp"

int main() {
    using namespace kurbel;
    constexpr std::array<double, 4> kDecibels{40.0, 30.0, 20.0, 15.0};
    std::printf("| samples a tooth |");
    for (const double db : kDecibels) std::printf(" %.0f dB: rms, samples | bound | over bound |", db);
    std::printf(" limit at 40 dB |\n|---|");
    for (std::size_t i = 0; i < kDecibels.size(); ++i) std::printf("---|---|---|");
    std::printf("---|\n");
    const auto bound = [](double period, double sigma) {
        return sigma * period / test::kTurn * std::sqrt(2.0 / period);
    };
    constexpr double kOfASample = 0.02;
    constexpr double kOfTheBound = 1.5;
    const auto sigma_at = [](double db) { return std::sqrt(0.5) / std::pow(10.0, db / 20.0); };
    double samples = 0.0;
    double seconds = 0.0;
    for (const double period : {2.5, 2.7, 3.0, 3.3, 4.7, 8.1, 13.3, 21.7, 31.7, 61.3, 125.3, 313.7, 1234.5, 20000.3}) {
        std::printf("| %.1f |", period);
        for (const double db : kDecibels) {
            const double sigma = sigma_at(db);
            const int teeth = period > 1e4 ? 300 : period > 1e3 ? 300 : 1000;
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
            std::printf(" %.4f | %.4f | %.2f |", rms, bound(period, sigma), rms / bound(period, sigma));
        }
        const double allowed = kOfTheBound * bound(period, sigma_at(kDecibels.front()));
        std::printf(" %s, %.4f |\n", allowed > kOfASample ? "1.5 bounds" : "2 % of a sample",
                    std::max(allowed, kOfASample));
    }
    std::printf("\n%.0f ns a sample (wall time)\n", seconds / samples * 1e9);
    return 0;
}
