#include "baselines.hpp"

#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>

namespace kurbel_detection {

Readings classic(const Recording& recording) {
    const std::vector<kurbel::Event> events = classic_events(recording);
    Readings readings;
    for (const auto statistic : {&kurbel::Event::severity, &kurbel::Event::evidence})
        for (const std::size_t shift : {0U, 1U}) {
            Scores scores(events.size(), kurbel::kUnknown);
            for (std::size_t i = 0; i + shift < events.size(); ++i) scores[i] = events[i + shift].*statistic;
            readings.push_back(std::move(scores));
        }
    return readings;
}

namespace {

/// Mean energy of each segment, from its TDC to the next.
std::vector<double> segment_energy(const Bins& bins, std::size_t firings) {
    std::vector<double> energy(firings, kurbel::kUnknown);
    for (std::size_t i = 0; i + 1 < firings; ++i) {
        const std::ptrdiff_t count = bins.first_of[i + 1] - bins.first_of[i];
        if (bins.first_of[i + 1] < 0 || count <= 0 || !bins.whole(i, 0, count)) continue;
        double sum = 0.0;
        for (std::ptrdiff_t b = 0; b < count; ++b) sum += bins.energy(i, b);
        energy[i] = sum / static_cast<double>(count);
    }
    return energy;
}

/// Energy at each TDC, of the bins on both sides of it.
std::vector<double> tdc_energy(const Bins& bins, std::size_t firings) {
    std::vector<double> energy(firings, kurbel::kUnknown);
    for (std::size_t i = 0; i < firings; ++i)
        if (bins.whole(i, -1, 1)) energy[i] = 0.5 * (bins.energy(i, -1) + bins.energy(i, 0));
    return energy;
}

}  // namespace

Readings cycle_difference(const Bins& bins, const std::vector<Firing>& firings) {
    const std::size_t n = firings.size();
    const auto z = static_cast<std::size_t>(bins.grid.firings);
    const std::vector<double> segment = segment_energy(bins, n);
    const std::vector<double> tdc = tdc_energy(bins, n);
    const auto gain = [](const std::vector<double>& energy, std::size_t i) { return energy[i + 1] - energy[i]; };
    const auto across = [&](std::size_t i) { return segment[i + 1] - segment[i - 1]; };
    Readings readings(4, Scores(n, kurbel::kUnknown));
    for (std::size_t i = z; i + 2 < n; ++i) {
        readings[0][i] = readings[1][i + 1] = gain(segment, i - z) - gain(segment, i);
        if (i > z) readings[2][i] = across(i - z) - across(i);
        readings[3][i] = gain(tdc, i - z) - gain(tdc, i);
    }
    return readings;
}

Readings order_phasor(const Bins& bins, const std::vector<Firing>& firings) {
    constexpr double kPush_deg[] = {20.0, 45.0, 70.0, 95.0};
    const std::ptrdiff_t cycle = bins.grid.bins;
    const std::ptrdiff_t before = cycle / 2;
    const int orders = std::max(1, bins.grid.firings / 2);
    Readings readings(std::size(kPush_deg), Scores(firings.size(), kurbel::kUnknown));
    for (std::size_t i = 0; i < firings.size(); ++i) {
        if (!bins.whole(i, -before, cycle - before + 1)) continue;
        const double slope = (bins.energy(i, cycle - before) - bins.energy(i, -before)) / static_cast<double>(cycle);
        std::vector<double> sums(std::size(kPush_deg), 0.0);
        for (int n = 1; n <= orders; ++n) {
            std::complex<double> phasor = 0.0;
            for (std::ptrdiff_t b = -before; b < cycle - before; ++b) {
                const double phase =
                    2.0 * std::numbers::pi * n * (static_cast<double>(b) + 0.5) / static_cast<double>(cycle);
                phasor += (bins.energy(i, b) - slope * static_cast<double>(b)) * std::polar(1.0, -phase);
            }
            // The order of half the firings is its own mirror image.
            const double weight = 2 * n == bins.grid.firings ? 0.5 : 1.0;
            const std::complex<double> torque = weight * n * std::complex<double>(0.0, 1.0) * phasor;
            for (std::size_t k = 0; k < sums.size(); ++k) {
                const double push =
                    2.0 * std::numbers::pi * n * kPush_deg[k] / (bins.grid.bin_deg * static_cast<double>(cycle));
                sums[k] += (torque * std::polar(1.0, push)).real();
            }
        }
        for (std::size_t k = 0; k < sums.size(); ++k) readings[k][i] = -sums[k];
    }
    return readings;
}

}  // namespace kurbel_detection
