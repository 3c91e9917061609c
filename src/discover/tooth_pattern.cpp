#include "discover/tooth_pattern.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "discover/pitches.hpp"
#include "discover/still.hpp"
#include "discover/swing_bounds.hpp"

namespace kurbel::discover {

namespace {

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

constexpr double kWhole_deg = 5.0;  ///< the same as kWholePitch, of a coarse wheel
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
    if (fold.log_interval.empty()) return pattern;
    Still still = fold.edges < kManyTeeth ? still_places(edge_s, fold) : Still{};
    const auto tells = [&] { return still.known && 2.0 * still.doubt_deg < kTeeth_deg; };
    bool told = tells();
    double left_deg = kPistons_deg + 2.0 * still.doubt_deg;
    std::vector<double> share = told ? intervals(still.still_deg) : shares(fold.log_interval);
    const Pitches each = whole_pitches(share);
    const std::vector<int>& pitches = each.whole;
    const double worst = each.worst;
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
    pattern.doubtful = !pitches.empty() && !plain && (whole ? each.gap_in_doubt : near_whole);
    if (!whole && fold.edges >= kManyTeeth) {
        // Many teeth that stand at no even places: neighbours do not tell the pitch.
        still = still_places(edge_s, fold);
        told = tells();
        left_deg = kPistons_deg + 2.0 * still.doubt_deg;
        if (told) share = intervals(still.still_deg);
    }
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
        pattern.swing_deg = swing_deg(edge_s, fold, pattern);
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
    const Pitches pitches = whole_pitches(shares(fold.log_interval));
    std::vector<double> ideal = fold.log_interval;
    if (pitches.whole.empty() || pitches.worst > kWholePitch) return ideal;
    double mean = 0.0;
    for (std::size_t i = 0; i < ideal.size(); ++i) {
        ideal[i] = std::log(static_cast<double>(pitches.whole[i]));
        mean += ideal[i] / static_cast<double>(ideal.size());
    }
    for (double& value : ideal) value -= mean;
    return ideal;
}

}  // namespace kurbel::discover
