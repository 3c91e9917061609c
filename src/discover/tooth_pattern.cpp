#include "discover/tooth_pattern.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <numeric>

#include "discover/middle_mean.hpp"
#include "discover/still.hpp"

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

double median(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

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

/// How far teeth move between the two revolutions of a cycle.
double halves_deg(const std::vector<double>& edge_s, const Fold& fold) {
    std::vector<Lap> odd;
    std::vector<Lap> even;
    for (const Lap& lap : longest_section(fold)) (lap.number % 2 == 0 ? even : odd).push_back(lap);
    return largest_difference_deg(edge_s, fold.edges, even, odd);
}

/// How far an engine can seem to move a tooth by its own swing of speed, at most. An engine that runs at all swings by less than 0.4 of
/// its speed at idle, 800 rpm (judged; no source); gas makes that fall with the square of speed, pistons leave one in a hundred. A swing
/// of order 1, the slowest that comes back every revolution, moves angles by as many radians.
double most_swing_deg(const std::vector<double>& edge_s, const Fold& fold) {
    std::vector<double> lap_s;
    for (const Lap& lap : fold.laps)
        lap_s.push_back(edge_s[lap.first + static_cast<std::size_t>(fold.edges)] - edge_s[lap.first]);
    constexpr double kIdle_s = 60.0 / 800.0;
    const double share = lap_s.empty() ? 1.0 : median(lap_s) / kIdle_s;
    return 180.0 / std::numbers::pi * (0.4 * share * share + 0.01);
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

/// From so many teeth on neighbours tell a pitch.
constexpr int kManyTeeth = 16;
/// What pistons make of the speed's swing, at most: one in a hundred of it, at any speed (see most_swing_deg).
constexpr double kPistons_deg = 0.6;
/// Teeth that were meant to stand at whole places stand so near, or nearer.
constexpr double kTeeth_deg = 1.0;

/// Shares of a revolution between places behind its first edge.
std::vector<double> intervals(const std::vector<double>& place_deg) {
    std::vector<double> share;
    double before = 0.0;
    for (const double place : place_deg) {
        share.push_back((place - before) / 360.0);
        before = place;
    }
    share.push_back(1.0 - before / 360.0);
    return share;
}

/// Pitch beside interval `i`, from the two on either side: the engine's speed swings along the revolution, so that a gap is
/// measured by the teeth around it. Only where a few pitches are a small part of the revolution.
double pitch_beside(const std::vector<double>& share, const std::vector<int>& pitches, std::size_t i, double mean) {
    if (static_cast<int>(share.size()) < kManyTeeth) return mean;
    double sum = 0.0;
    int count = 0;
    for (const std::size_t off : {share.size() - 2, share.size() - 1, std::size_t{1}, std::size_t{2}}) {
        const std::size_t at = (i + off) % share.size();
        sum += share[at];
        count += pitches[at];
    }
    return count > 0 ? sum / count : mean;
}

/// How far an interval may stand from whole pitches: teeth are placed to a tenth of a pitch, and speed swings by some percent over
/// the few degrees that a pitch of a coarse wheel spans more (common practice, no source).
constexpr double kWholePitch = 0.3;
constexpr double kWhole_deg = 5.0;
/// Few teeth without a gap are vanes, which stand unevenly more often than not; to call them even needs closer evidence.
constexpr double kEvenPitch = 0.02;
constexpr int kVanes = 8;

/// Whole pitches of each interval, where most hold one; empty where they do not.
std::vector<int> whole_pitches(const std::vector<double>& share, double& worst, bool& gap_in_doubt) {
    worst = 0.0;
    gap_in_doubt = false;
    if (share.empty()) return {};  // no lap
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
    double mean_square = 0.0;
    for (std::size_t i = 0; i < share.size(); ++i) {
        const double off = std::abs(share[i] / local[i] - pitches[i]) / std::max(1.0, std::sqrt(pitches[i]));
        worst = std::max(worst, off);
        mean_square += off * off / static_cast<double>(share.size());
    }
    // Of many intervals one stands off by four or five times their scatter, by chance and its neighbours' teeth: three times it counts, as
    // long as no other whole number is nearly as near.
    constexpr std::size_t kManyIntervals = 32;
    constexpr double kNearlyHalf = 0.45;
    if (share.size() >= kManyIntervals && worst < kNearlyHalf) worst = std::min(worst, 3.0 * std::sqrt(mean_square));
    // A gap stands off as single pitches do. Where that scatter makes the next whole number a thousandth as likely, or where it stands
    // nearer to the middle than to this one, it may be another gap.
    double square = 1e-4;
    for (std::size_t i = 0; i < share.size(); ++i)
        if (pitches[i] == 1) square += std::pow(share[i] / local[i] - 1.0, 2) / static_cast<double>(ones);
    gap_in_doubt = false;
    constexpr double kByChance = 3.3;  // one in a thousand
    const bool neighbours_tell = static_cast<int>(share.size()) >= kManyTeeth;
    for (std::size_t i = 0; i < share.size(); ++i) {
        if (pitches[i] < 2) continue;
        const double off = std::abs(share[i] / local[i] - pitches[i]);
        // Both ends of the gap shift the pitch beside it, too, the other way: so far by chance, if teeth stand off as single pitches tell.
        const double beside = pitches[i] / 4.0;
        const double by_chance =
            neighbours_tell ? kByChance * std::sqrt(square * ((1.0 + beside) * (1.0 + beside) + beside * beside)) : 0.0;
        // Teeth do not stand off by a degree: then speed swings there, or a tooth is missing from the count.
        const bool beyond_teeth = off > std::max(0.6 * kWholePitch, by_chance) && off * 360.0 * pitch > 1.0;
        if (off > std::max(kWholePitch, by_chance) || beyond_teeth ||
            (1.0 - 2.0 * off) / (2.0 * square * pitches[i]) < std::log(1000.0))
            gap_in_doubt = true;
    }
    if (2 * ones < static_cast<std::ptrdiff_t>(pitches.size())) return {};
    if (std::count(pitches.begin(), pitches.end(), 0) > 0) return {};
    return pitches;
}

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
    if (fold.log_interval.empty()) return pattern;
    const Still still = fold.edges < kManyTeeth ? still_places(edge_s, fold) : Still{};
    const double left_deg = kPistons_deg + 2.0 * still.doubt_deg;
    const bool told = still.known && 2.0 * still.doubt_deg < kTeeth_deg;
    const std::vector<double> share = told ? intervals(still.still_deg) : shares(fold.log_interval);
    double worst = 0.0;
    bool gap_in_doubt = false;
    std::vector<int> pitches = whole_pitches(share, worst, gap_in_doubt);
    pattern.misplaced = worst;
    const bool plain = !pitches.empty() && *std::max_element(pitches.begin(), pitches.end()) == 1;
    const double pitch_deg = pitches.empty() ? 360.0 : 360.0 / std::accumulate(pitches.begin(), pitches.end(), 0);
    double tolerance = std::min(kWholePitch, kWhole_deg / pitch_deg);
    if (plain && fold.edges <= kVanes) tolerance = kEvenPitch;
    bool whole = !pitches.empty() && worst < tolerance;
    // A few vanes may stand near whole places; teeth that were meant to do stand nearer.
    if (whole && !plain && fold.edges <= kVanes && worst * pitch_deg > kTeeth_deg) {
        whole = !told || worst * pitch_deg < kTeeth_deg + left_deg;
        pattern.perhaps_vanes = whole;
    }
    pattern.most_swing_deg = most_swing_deg(edge_s, fold);
    // Near a wheel of whole places, and no farther from it than this engine's swing may have moved the teeth.
    const double moved_deg = told ? std::min(left_deg, pattern.most_swing_deg) : pattern.most_swing_deg;
    const bool near_whole = worst < kWholePitch && worst * pitch_deg < moved_deg;
    pattern.doubtful = !pitches.empty() && !plain && (whole ? gap_in_doubt : near_whole);
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
    if (!whole) {
        pattern.halves_deg = halves_deg(edge_s, fold);
        pattern.swing_deg =
            std::max({left_of_halves(fold.edges) * pattern.halves_deg, speeds_deg(edge_s, fold, pattern.most_swing_deg),
                      single_wave_deg(pattern.measured_deg, pattern.most_swing_deg)});
        if (told) pattern.swing_deg = std::min(pattern.swing_deg, left_deg);
    }
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
    bool gap_in_doubt = false;
    const std::vector<double> share = shares(fold.log_interval);
    const std::vector<int> pitches = whole_pitches(share, worst, gap_in_doubt);
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
