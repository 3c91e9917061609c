#include "discover/turn_multiple.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

namespace kurbel::discover {

namespace {

/// Power of a lap's pattern in the shortest third of its waves, mean of a bin.
double short_wave_power(const std::vector<std::complex<double>>& pattern) {
    const auto edges = static_cast<int>(pattern.size());
    const int first = edges / 3;
    const int last = edges / 2;
    double power = 0.0;
    for (int wave = first; wave <= last; ++wave) {
        std::complex<double> sum = 0.0;
        for (int i = 0; i < edges; ++i)
            sum += pattern[static_cast<std::size_t>(i)] * std::polar(1.0, -2.0 * std::numbers::pi * wave * i / edges);
        power += std::norm(sum);
    }
    return power / (last - first + 1);
}

/// Mean over laps of deviation times exp(-2 pi j frequency number), frequency in waves a lap.
std::vector<std::complex<double>> swing(const std::vector<Lap>& laps, const std::vector<std::vector<double>>& deviation,
                                        double frequency) {
    std::vector<std::complex<double>> sum(deviation.front().size());
    for (std::size_t j = 0; j < laps.size(); ++j) {
        const auto turn = std::polar(1.0 / static_cast<double>(laps.size()),
                                     -2.0 * std::numbers::pi * frequency * static_cast<double>(laps[j].number));
        for (std::size_t i = 0; i < sum.size(); ++i) sum[i] += turn * deviation[j][i];
    }
    return sum;
}

/// Deviations of each lap from `ideal`, of at most kMost laps of the longest section; empty where there are too few.
std::vector<std::vector<double>> deviations(const std::vector<double>& edge_s, const Fold& fold,
                                            const std::vector<double>& ideal, std::vector<Lap>& laps) {
    constexpr std::size_t kFewest = 24;
    constexpr std::size_t kMost = 3000;
    laps = longest_section(fold);
    if (laps.size() < kFewest) return {};
    if (laps.size() > kMost) laps.resize(kMost);
    std::vector<std::vector<double>> deviation;
    for (const Lap& lap : laps) {
        deviation.push_back(log_intervals(edge_s, lap.first, fold.edges));
        for (std::size_t i = 0; i < ideal.size(); ++i) deviation.back()[i] -= ideal[i];
    }
    return deviation;
}

/// Mean of `power` at frequencies beside one half, where nothing repeats: what chance makes.
template <class Power>
double chance(const std::vector<Lap>& laps, const std::vector<std::vector<double>>& deviation, Power&& power) {
    const auto span = static_cast<double>(laps.back().number - laps.front().number + 1);
    constexpr int kBeside = 8;
    double sum = 0.0;
    for (int i = 0; i < kBeside; ++i) sum += power(swing(laps, deviation, 0.5 - (i + 3.0) / span)) / kBeside;
    return sum;
}

}  // namespace

namespace {

/// Of the few waves that a slow swing is made of, chance makes a multiple of its mean now and then.
constexpr double kBeyondChance = 6.0;

template <class Power>
bool alternates_in(const std::vector<double>& edge_s, const Fold& fold, Power&& power) {
    std::vector<Lap> laps;
    const auto deviation = deviations(edge_s, fold, fold.log_interval, laps);
    if (deviation.empty()) return false;
    return power(swing(laps, deviation, 0.5)) > kBeyondChance * chance(laps, deviation, power);
}

}  // namespace

bool alternates(const std::vector<double>& edge_s, const Fold& fold) {
    return alternates_in(edge_s, fold, [](const std::vector<std::complex<double>>& pattern) {
        double sum = 0.0;
        for (const auto& value : pattern) sum += std::norm(value);
        return sum;
    });
}

bool alternates_roughly(const std::vector<double>& edge_s, const Fold& fold) {
    return fold.edges >= 8 && alternates_in(edge_s, fold, short_wave_power);
}

HalvesFinding compare_halves(const std::vector<double>& edge_s, const Fold& fold, const std::vector<double>& ideal) {
    HalvesFinding finding;
    std::vector<Lap> laps;
    const auto deviation = deviations(edge_s, fold, ideal, laps);
    if (deviation.empty() || fold.edges < 8) return finding;
    const double shared = short_wave_power(swing(laps, deviation, 0.0));
    const double alternating = short_wave_power(swing(laps, deviation, 0.5));
    const double noise = chance(laps, deviation, short_wave_power);
    const double common = std::max(shared - noise, 1e-30);
    finding.ratio = std::max(0.0, alternating - noise) / common;
    finding.noise = noise / common;
    constexpr double kVisible = 0.1;  // below this share, chance hides nothing that matters
    constexpr double kDifferent = 0.35;
    // Teeth of two halves share by chance: of eleven waves so much that the ratio falls to a third once in 160 wheels, to a fifth once in
    // five thousand (F distribution). Where noise hides nothing, teeth that are the same leave next to nothing.
    constexpr double kPlainlySeen = 0.02;
    constexpr double kByChance = 0.2;
    constexpr double kSame = 0.12;
    if (finding.noise > kVisible) return finding;
    if (finding.ratio > (finding.noise < kPlainlySeen ? kByChance : kDifferent)) finding.halves = Halves::different;
    if (finding.ratio < kSame) finding.halves = Halves::same;
    return finding;
}

}  // namespace kurbel::discover
