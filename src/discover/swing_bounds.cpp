#include "discover/swing_bounds.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "discover/middle_mean.hpp"
#include "discover/pitches.hpp"

namespace kurbel::discover {

namespace {

/// Middle mean of each interval's share over laps.
std::vector<double> mean_share(const std::vector<double>& edge_s, int edges, const std::vector<Lap>& laps) {
    std::vector<std::vector<double>> seen(static_cast<std::size_t>(edges));
    for (const Lap& lap : laps) {
        const std::vector<double> share = shares(log_intervals(edge_s, lap.first, edges));
        for (std::size_t i = 0; i < share.size(); ++i) seen[i].push_back(share[i]);
    }
    std::vector<double> mean;
    for (std::vector<double>& each : seen) mean.push_back(middle_mean(std::move(each)));
    return mean;
}

/// Largest tooth angle by which two halves of the laps differ, degrees.
double largest_difference_deg(const std::vector<double>& edge_s, int edges, const std::vector<Lap>& one,
                              const std::vector<Lap>& two) {
    if (one.empty() || two.empty()) return 0.0;
    const std::vector<double> first = mean_share(edge_s, edges, one);
    const std::vector<double> second = mean_share(edge_s, edges, two);
    double angle = 0.0;
    double low = 0.0;
    double high = 0.0;
    for (std::size_t i = 0; i < first.size(); ++i) {
        angle += 360.0 * (first[i] - second[i]);
        low = std::min(low, angle);
        high = std::max(high, angle);
    }
    return high - low;
}

/// The slowest and the fastest third of the laps, and the times that they take: of two revolutions, because one of a cycle may be the
/// faster one throughout.
struct Thirds {
    std::vector<Lap> fast;
    std::vector<Lap> slow;
    double fast_s = 1.0;
    double middle_s = 1.0;
    double slow_s = 1.0;
};

Thirds thirds(const std::vector<double>& edge_s, const Fold& fold) {
    std::vector<Lap> laps = fold.laps;
    std::erase_if(
        laps, [&](const Lap& lap) { return lap.first + 2 * static_cast<std::size_t>(fold.edges) >= edge_s.size(); });
    const auto lap_s = [&](const Lap& lap) {
        return edge_s[lap.first + 2 * static_cast<std::size_t>(fold.edges)] - edge_s[lap.first];
    };
    std::sort(laps.begin(), laps.end(), [&](const Lap& a, const Lap& b) { return lap_s(a) < lap_s(b); });
    const std::size_t third = laps.size() / 3;
    if (third == 0) return {};
    const auto count = static_cast<std::ptrdiff_t>(third);
    return {{laps.begin(), laps.begin() + count},
            {laps.end() - count, laps.end()},
            lap_s(laps[third / 2]),
            lap_s(laps[laps.size() / 2]),
            lap_s(laps[laps.size() - 1 - third / 2])};
}

/// How far gas moves teeth at the mean speed, from slow and fast revolutions: what it does falls with the square of the speed, so that a part
/// of it is left between the two. At one speed alone nothing is told: then as far as it may be.
double speeds_deg(const std::vector<double>& edge_s, const Fold& fold, double most_swing_deg) {
    const Thirds laps = thirds(edge_s, fold);
    if (laps.fast.empty()) return most_swing_deg;
    const double moved = largest_difference_deg(edge_s, fold.edges, laps.fast, laps.slow);
    const double left = (laps.slow_s * laps.slow_s - laps.fast_s * laps.fast_s) / (laps.middle_s * laps.middle_s);
    return left * most_swing_deg > moved ? moved / left : most_swing_deg;
}

/// The mean over both revolutions of a cycle is free of half orders. Whole ones move teeth by a quarter as much as half orders of the same
/// torque, and the two revolutions differ by twice what those do; few teeth hide a part of it.
double left_of_halves(int edges) {
    constexpr int kMany = 12;
    return edges >= kMany ? 0.25 : 0.8;
}

/// A slow wave along many uneven teeth that towers over the shorter ones may be the engine's swing, seen at one speed alone: its size, degrees; 0
/// where none does. Teeth that stand unevenly at random have waves of one size.
double single_wave_deg(const std::vector<double>& measured_deg, double most_swing_deg) {
    const auto teeth = static_cast<int>(measured_deg.size());
    constexpr int kMany = 12;
    constexpr int kSlow = 4;
    if (teeth < kMany) return 0.0;
    std::vector<double> wave;
    for (int order = 1; order <= teeth / 2; ++order) {
        std::complex<double> sum = 0.0;
        for (int i = 0; i < teeth; ++i)
            sum += (measured_deg[static_cast<std::size_t>(i)] - 360.0 * i / teeth) *
                   std::polar(2.0 / teeth, -2.0 * std::numbers::pi * order * i / teeth);
        wave.push_back(std::abs(sum));
    }
    const double usual = median(std::vector<double>(wave.begin() + kSlow, wave.end()));
    double largest = 0.0;
    // One in some thousand among waves of one size (Rayleigh's distribution) is this much larger than the middle one.
    constexpr double kTowers = 3.5;
    for (int order = 1; order <= kSlow; ++order) {
        const double size = wave[static_cast<std::size_t>(order - 1)];
        if (size > kTowers * usual && size < most_swing_deg) largest = std::max(largest, size);
    }
    return largest;
}

}  // namespace

double most_swing_deg(const std::vector<double>& edge_s, const Fold& fold) {
    std::vector<double> lap_s;
    for (const Lap& lap : fold.laps)
        lap_s.push_back(edge_s[lap.first + static_cast<std::size_t>(fold.edges)] - edge_s[lap.first]);
    constexpr double kIdle_s = 60.0 / 800.0;
    const double share = lap_s.empty() ? 1.0 : median(lap_s) / kIdle_s;
    return 180.0 / std::numbers::pi * (0.4 * share * share + 0.01);
}

double halves_deg(const std::vector<double>& edge_s, const Fold& fold) {
    std::vector<Lap> odd;
    std::vector<Lap> even;
    for (const Lap& lap : longest_section(fold)) (lap.number % 2 == 0 ? even : odd).push_back(lap);
    return largest_difference_deg(edge_s, fold.edges, even, odd);
}

double swing_deg(const std::vector<double>& edge_s, const Fold& fold, const ToothPattern& pattern) {
    return std::max({left_of_halves(fold.edges) * pattern.halves_deg, speeds_deg(edge_s, fold, pattern.most_swing_deg),
                     single_wave_deg(pattern.measured_deg, pattern.most_swing_deg)});
}

}  // namespace kurbel::discover
