#include "discover/pitches.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "discover/middle_mean.hpp"

namespace kurbel::discover {

namespace {

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

/// Shares by their pitches beside them.
struct Counted {
    std::vector<int> pitches;
    std::vector<double> local;  ///< pitch, share of the revolution
    double pitch = 0.0;         ///< the same, mean
};

Counted counted(const std::vector<double>& share) {
    Counted found;
    found.pitch = median(share);
    // The median is one interval; once the counts are known, all of them tell the pitch.
    for (int round = 0; round < 3; ++round) {
        found.pitches.clear();
        for (const double value : share) found.pitches.push_back(static_cast<int>(std::lround(value / found.pitch)));
        const int total = std::accumulate(found.pitches.begin(), found.pitches.end(), 0);
        if (total <= 0) return {};
        found.pitch = 1.0 / total;
    }
    for (std::size_t i = 0; i < share.size(); ++i)
        found.local.push_back(pitch_beside(share, found.pitches, i, found.pitch));
    for (std::size_t i = 0; i < share.size(); ++i)
        found.pitches[i] = static_cast<int>(std::lround(share[i] / found.local[i]));
    return found;
}

double worst_of(const std::vector<double>& share, const Counted& found) {
    double worst = 0.0;
    double mean_square = 0.0;
    for (std::size_t i = 0; i < share.size(); ++i) {
        const double off =
            std::abs(share[i] / found.local[i] - found.pitches[i]) / std::max(1.0, std::sqrt(found.pitches[i]));
        worst = std::max(worst, off);
        mean_square += off * off / static_cast<double>(share.size());
    }
    // Of many intervals one stands off by four or five times their scatter, by chance and its neighbours' teeth: three times it counts, as
    // long as no other whole number is nearly as near.
    constexpr std::size_t kManyIntervals = 32;
    constexpr double kNearlyHalf = 0.45;
    const bool many = share.size() >= kManyIntervals && worst < kNearlyHalf;
    return many ? std::min(worst, 3.0 * std::sqrt(mean_square)) : worst;
}

/// A gap stands off as single pitches do. Where that scatter makes the next whole number a thousandth as likely, or where it stands
/// nearer to the middle than to this one, it may be another gap.
bool gap_in_doubt(const std::vector<double>& share, const Counted& found) {
    const auto ones = static_cast<double>(std::count(found.pitches.begin(), found.pitches.end(), 1));
    double square = 1e-4;
    for (std::size_t i = 0; i < share.size(); ++i)
        if (found.pitches[i] == 1) square += std::pow(share[i] / found.local[i] - 1.0, 2) / ones;
    constexpr double kByChance = 3.3;  // one in a thousand
    const bool neighbours_tell = static_cast<int>(share.size()) >= kManyTeeth;
    for (std::size_t i = 0; i < share.size(); ++i) {
        const int pitches = found.pitches[i];
        if (pitches < 2) continue;
        const double off = std::abs(share[i] / found.local[i] - pitches);
        // Both ends of the gap shift the pitch beside it, too, the other way: so far by chance, if teeth stand off as single pitches tell.
        const double beside = pitches / 4.0;
        const double by_chance =
            neighbours_tell ? kByChance * std::sqrt(square * ((1.0 + beside) * (1.0 + beside) + beside * beside)) : 0.0;
        // Teeth do not stand off by a degree: then speed swings there, or a tooth is missing from the count.
        const bool beyond_teeth = off > std::max(0.6 * kWholePitch, by_chance) && off * 360.0 * found.pitch > 1.0;
        if (off > std::max(kWholePitch, by_chance) || beyond_teeth ||
            (1.0 - 2.0 * off) / (2.0 * square * pitches) < std::log(1000.0))
            return true;
    }
    return false;
}

}  // namespace

std::vector<double> shares(const std::vector<double>& log_interval) {
    std::vector<double> share;
    for (const double value : log_interval) share.push_back(std::exp(value));
    const double sum = std::accumulate(share.begin(), share.end(), 0.0);
    for (double& value : share) value /= sum;
    return share;
}

Pitches whole_pitches(const std::vector<double>& share) {
    Pitches found;
    if (share.empty()) return found;  // no lap
    Counted each = counted(share);
    if (each.pitches.empty()) return found;
    found.worst = worst_of(share, each);
    found.gap_in_doubt = gap_in_doubt(share, each);
    const auto ones = std::count(each.pitches.begin(), each.pitches.end(), 1);
    const bool mostly_single = 2 * ones >= static_cast<std::ptrdiff_t>(each.pitches.size());
    if (mostly_single && std::count(each.pitches.begin(), each.pitches.end(), 0) == 0)
        found.whole = std::move(each.pitches);
    return found;
}

}  // namespace kurbel::discover
