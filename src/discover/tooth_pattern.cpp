#include "discover/tooth_pattern.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace kurbel::discover {

namespace {

/// Shares of a revolution, from logarithms.
std::vector<double> shares(const std::vector<double>& log_interval) {
    std::vector<double> share;
    for (const double value : log_interval) share.push_back(std::exp(value));
    const double sum = std::accumulate(share.begin(), share.end(), 0.0);
    for (double& value : share) value /= sum;
    return share;
}

/// Largest tooth angle by which two halves of the laps differ, degrees.
double largest_difference_deg(const std::vector<double>& edge_s, int edges, const std::vector<Lap>& one,
                              const std::vector<Lap>& two) {
    const auto mean_share = [&](const std::vector<Lap>& laps) {
        std::vector<double> mean(static_cast<std::size_t>(edges));
        for (const Lap& lap : laps) {
            const std::vector<double> share = shares(log_intervals(edge_s, lap.first, edges));
            for (std::size_t i = 0; i < share.size(); ++i) mean[i] += share[i] / static_cast<double>(laps.size());
        }
        return mean;
    };
    if (one.empty() || two.empty()) return 0.0;
    const std::vector<double> first = mean_share(one);
    const std::vector<double> second = mean_share(two);
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

/// How far the engine moves teeth: between the two revolutions of a cycle, and between slow and fast revolutions.
double swing_deg(const std::vector<double>& edge_s, const Fold& fold) {
    std::vector<Lap> laps = longest_section(fold);
    std::vector<Lap> odd;
    std::vector<Lap> even;
    for (const Lap& lap : laps) (lap.number % 2 == 0 ? even : odd).push_back(lap);
    const double half = largest_difference_deg(edge_s, fold.edges, even, odd);
    laps = fold.laps;
    const auto lap_s = [&](const Lap& lap) {
        return edge_s[lap.first + static_cast<std::size_t>(fold.edges)] - edge_s[lap.first];
    };
    std::sort(laps.begin(), laps.end(), [&](const Lap& a, const Lap& b) { return lap_s(a) < lap_s(b); });
    const auto third = static_cast<std::ptrdiff_t>(laps.size() / 3);
    const double speeds = largest_difference_deg(edge_s, fold.edges, {laps.begin(), laps.begin() + third},
                                                 {laps.end() - third, laps.end()});
    return std::max(half, speeds);
}

double median(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Pitch beside interval `i`, from the two on either side: the engine's speed swings along the revolution, so that a gap is
/// measured by the teeth around it. Only where a few pitches are a small part of the revolution.
double pitch_beside(const std::vector<double>& share, const std::vector<int>& pitches, std::size_t i, double mean) {
    constexpr std::size_t kManyTeeth = 16;
    if (share.size() < kManyTeeth) return mean;
    double sum = 0.0;
    int count = 0;
    for (const std::size_t off : {share.size() - 2, share.size() - 1, std::size_t{1}, std::size_t{2}}) {
        const std::size_t at = (i + off) % share.size();
        sum += share[at];
        count += pitches[at];
    }
    return count > 0 ? sum / count : mean;
}

/// Whole pitches of each interval, where most hold one; empty where they do not.
std::vector<int> whole_pitches(const std::vector<double>& share, double& worst) {
    double pitch = median(share);
    std::vector<int> pitches;
    // The median is one interval; once the counts are known, all of them tell the pitch.
    for (int round = 0; round < 3; ++round) {
        pitches.clear();
        for (const double value : share) pitches.push_back(static_cast<int>(std::lround(value / pitch)));
        const int total = std::accumulate(pitches.begin(), pitches.end(), 0);
        if (total <= 0) return {};
        pitch = 1.0 / total;
    }
    std::vector<double> local;
    for (std::size_t i = 0; i < share.size(); ++i) local.push_back(pitch_beside(share, pitches, i, pitch));
    for (std::size_t i = 0; i < share.size(); ++i) pitches[i] = static_cast<int>(std::lround(share[i] / local[i]));
    const auto ones = std::count(pitches.begin(), pitches.end(), 1);
    worst = 0.0;
    for (std::size_t i = 0; i < share.size(); ++i)
        worst = std::max(worst, std::abs(share[i] / local[i] - pitches[i]) / std::max(1.0, std::sqrt(pitches[i])));
    if (2 * ones < static_cast<std::ptrdiff_t>(pitches.size())) return {};
    if (std::count(pitches.begin(), pitches.end(), 0) > 0) return {};
    return pitches;
}

/// How far an interval may stand from whole pitches: teeth are placed to a tenth of a pitch, and speed swings by some percent over
/// the few degrees that a pitch of a coarse wheel spans more (common practice, no source).
constexpr double kWholePitch = 0.3;
constexpr double kWhole_deg = 5.0;
/// Few teeth without a gap are vanes, which stand unevenly more often than not; to call them even needs closer evidence.
constexpr double kEvenPitch = 0.02;
constexpr int kVanes = 8;

/// Interval after which place 0 comes: the widest; among equal ones that with most teeth before it, then the longest way round.
int first_interval(const std::vector<double>& width) {
    const auto edges = static_cast<int>(width.size());
    const auto at = [&](int i) { return width[static_cast<std::size_t>(((i % edges) + edges) % edges)]; };
    int best = 0;
    for (int i = 1; i < edges; ++i) {
        // Compare the widths backwards from each candidate: wider first, then narrower ones for longer.
        if (at(i) > at(best) + 1e-9) {
            best = i;
            continue;
        }
        if (at(i) < at(best) - 1e-9) continue;
        for (int back = 1; back < edges; ++back) {
            if (std::abs(at(i - back) - at(best - back)) <= 1e-9) continue;
            if (at(i - back) < at(best - back)) best = i;
            break;
        }
    }
    return (best + 1) % edges;
}

}  // namespace

ToothPattern read_pattern(const std::vector<double>& edge_s, const Fold& fold) {
    ToothPattern pattern;
    const std::vector<double> share = shares(fold.log_interval);
    double worst = 0.0;
    std::vector<int> pitches = whole_pitches(share, worst);
    pattern.misplaced = worst;
    const bool plain = !pitches.empty() && *std::max_element(pitches.begin(), pitches.end()) == 1;
    const double pitch_deg = pitches.empty() ? 360.0 : 360.0 / std::accumulate(pitches.begin(), pitches.end(), 0);
    double tolerance = std::min(kWholePitch, kWhole_deg / pitch_deg);
    if (plain && fold.edges <= kVanes) tolerance = kEvenPitch;
    const bool whole = !pitches.empty() && worst < tolerance;
    // Near a wheel of whole places, but not quite.
    pattern.doubtful = !pitches.empty() && !plain && worst > 0.6 * tolerance && worst < kWholePitch;
    std::vector<double> width;
    for (std::size_t i = 0; i < share.size(); ++i) width.push_back(whole ? pitches[i] : share[i]);
    pattern.first = first_interval(width);
    const auto from = [&](std::size_t i) { return (static_cast<std::size_t>(pattern.first) + i) % share.size(); };
    double measured = 0.0;
    int place = 0;
    const int positions = whole ? std::accumulate(pitches.begin(), pitches.end(), 0) : 0;
    for (std::size_t i = 0; i < share.size(); ++i) {
        pattern.measured_deg.push_back(360.0 * measured);
        pattern.nominal_deg.push_back(whole ? 360.0 * place / positions : 360.0 * measured);
        measured += share[from(i)];
        if (!whole) continue;
        pattern.pitches.push_back(pitches[from(i)]);
        place += pitches[from(i)];
    }
    pattern.positions = positions;
    if (!whole) pattern.swing_deg = swing_deg(edge_s, fold);
    if (whole) {
        // Place 0 is one tooth like any other: let the errors of all of them sum to nothing.
        double shift = 0.0;
        for (std::size_t i = 0; i < share.size(); ++i) shift += pattern.nominal_deg[i] - pattern.measured_deg[i];
        for (double& deg : pattern.measured_deg) deg += shift / static_cast<double>(share.size());
    }
    return pattern;
}

std::vector<double> ideal_log_intervals(const Fold& fold) {
    double worst = 0.0;
    const std::vector<double> share = shares(fold.log_interval);
    const std::vector<int> pitches = whole_pitches(share, worst);
    std::vector<double> ideal = fold.log_interval;
    if (pitches.empty() || worst > kWholePitch) return ideal;
    double mean = 0.0;
    for (std::size_t i = 0; i < ideal.size(); ++i) {
        ideal[i] = std::log(static_cast<double>(pitches[i]));
        mean += ideal[i] / static_cast<double>(ideal.size());
    }
    for (double& value : ideal) value -= mean;
    return ideal;
}

}  // namespace kurbel::discover
