#include "discover/rounds.hpp"

#include <algorithm>
#include <cmath>

#include "discover/still.hpp"

namespace kurbel::discover {

namespace {

/// Teeth that are meant to stand alike do by less than this.
constexpr double kAlike_deg = 1.0;
/// Noise alone makes about 3 of it (see alternation_over_chance).
constexpr double kBeyondChance = 12.0;

/// By what is left between neighbouring laps at a speed without end. `most_swing_deg` of the pattern of a lap: a smaller difference may be an
/// engine's whose torque happens to rise with the square of the speed.
Rounds by_speed(const std::vector<double>& edge_s, const Fold& fold, double most_swing_deg) {
    const Still apart = still_alternation(edge_s, fold);
    if (!apart.known) return Rounds::untold;
    constexpr double kClearly = 4.0;
    const double still_deg = size_deg(apart.still_deg);
    if (still_deg > std::max(kAlike_deg, most_swing_deg) + kClearly * apart.doubt_deg) return Rounds::parts;
    return still_deg + 2.0 * apart.doubt_deg < kAlike_deg ? Rounds::whole : Rounds::untold;
}

/// Two laps are a cycle if laps are revolutions: then every second pair is the same as its neighbours.
bool pairs_alternate(const std::vector<double>& edge_s, const Fold& fold) {
    return alternation_over_chance(edge_s, joined(edge_s, fold, 2, 0)) > kBeyondChance;
}

/// How far the teeth of the pattern's second half stand from those of its first.
double rounds_apart_deg(const ToothPattern& pattern) {
    const std::size_t half = pattern.measured_deg.size() / 2;
    double low = 0.0;
    double high = 0.0;
    for (std::size_t i = 0; i < half; ++i) {
        const double apart = pattern.measured_deg[half + i] - pattern.measured_deg[half] - pattern.measured_deg[i] +
                             pattern.measured_deg[0];
        low = std::min(low, apart);
        high = std::max(high, apart);
    }
    // The halves themselves may be longer and shorter.
    const double longer = pattern.measured_deg[half] - pattern.measured_deg[0] - 180.0;
    return std::max(high - low, 2.0 * std::abs(longer));
}

}  // namespace

RoundsFinding rounds_of(const std::vector<double>& edge_s, const Fold& fold, const ToothPattern& one) {
    RoundsFinding finding;
    finding.rounds = by_speed(edge_s, fold, one.most_swing_deg);
    finding.by_cycle = pairs_alternate(edge_s, fold);
    finding.at_odds = finding.by_cycle && finding.rounds == Rounds::whole;
    if (finding.by_cycle) finding.rounds = Rounds::parts;
    // Where two revolutions of a cycle differ, the engine swings at half orders, which move angles by twice as much; and between the one's
    // highest and the other's lowest lies four times the swing.
    constexpr double kHalfOrders = 8.0;
    // Engines swing by less from one revolution of a cycle to the next than the most that one swing may do; what moves teeth farther may be the
    // wheel.
    constexpr double kAlike = 1.2;
    constexpr int kFew = 12;
    const double apart_deg = std::max(one.halves_deg, seen_alternation_deg(edge_s, fold));
    if (apart_deg > kHalfOrders * one.most_swing_deg) finding.too_far_deg = apart_deg;
    finding.doubtful = fold.edges < kFew && apart_deg > kAlike * one.most_swing_deg;
    return finding;
}

bool may_be_two(const std::vector<double>& edge_s, const Fold& fold, const ToothPattern& one) {
    constexpr double kAlternates = 2.0;
    if (rounds_apart_deg(one) >= kAlternates * one.most_swing_deg) return false;
    if (alternation_over_chance(edge_s, fold) > kBeyondChance) return false;  // a cycle is longer than this lap
    const Fold halves = split(edge_s, fold, 2);
    return by_speed(edge_s, halves, read_pattern(edge_s, halves).most_swing_deg) != Rounds::parts;
}

}  // namespace kurbel::discover
