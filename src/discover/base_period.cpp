#include "discover/base_period.hpp"

#include <algorithm>
#include <cmath>

namespace kurbel::discover {

namespace {

constexpr std::size_t kWindows = 96;
/// Of the windows; low enough for a false edge in two of three.
constexpr double kQuantile = 0.3;
/// What chance leaves of a mismatch of 1 among some hundred candidates stays above this; what comes back lies below.
constexpr double kComesBack = 0.6;

std::vector<double> roughness(const std::vector<double>& edge_s) {
    std::vector<double> log_interval;
    for (std::size_t i = 1; i < edge_s.size(); ++i) log_interval.push_back(std::log(edge_s[i] - edge_s[i - 1]));
    std::vector<double> rough;
    for (std::size_t i = 1; i + 1 < log_interval.size(); ++i)
        rough.push_back(log_interval[i] - 0.5 * (log_interval[i - 1] + log_interval[i + 1]));
    return rough;
}

/// Over windows of `width` from evenly spread starts.
double mismatch(const std::vector<double>& rough, std::size_t lag, std::size_t width) {
    std::vector<double> seen;
    const std::size_t room = rough.size() - lag - width;
    const std::size_t windows = std::min(kWindows, room + 1);
    for (std::size_t w = 0; w < windows; ++w) {
        const std::size_t start = windows > 1 ? room * w / (windows - 1) : 0;
        double difference = 0.0;
        double square = 0.0;
        for (std::size_t i = start; i < start + width; ++i) {
            const double apart = rough[i] - rough[i + lag];
            difference += apart * apart;
            square += rough[i] * rough[i] + rough[i + lag] * rough[i + lag];
        }
        seen.push_back(square > 0.0 ? difference / square : 1.0);
    }
    const auto at = seen.begin() + static_cast<std::ptrdiff_t>(kQuantile * static_cast<double>(seen.size()));
    std::nth_element(seen.begin(), at, seen.end());
    return *at;
}

}  // namespace

std::vector<Recurrence> recurrences(const std::vector<double>& edge_s) {
    const std::vector<double> rough = edge_s.size() > 3 ? roughness(edge_s) : std::vector<double>{};
    std::vector<Recurrence> all;
    for (int edges = 1; edges <= kMostPeriod; ++edges) {
        const auto lag = static_cast<std::size_t>(edges);
        // At least one whole pattern, so that its gap is in, and enough intervals to tell a mean square.
        const std::size_t width = std::max<std::size_t>(lag, 24);
        if (rough.size() < 2 * (lag + width)) break;
        all.push_back({edges, mismatch(rough, lag, width)});
    }
    return all;
}

Recurrence base_period(const std::vector<Recurrence>& all) {
    double least = 1.0;
    for (const Recurrence& each : all) least = std::min(least, each.mismatch);
    if (!(least < kComesBack)) return {};
    // Multiples come back as well, a little better or worse; chance and partial likeness stay nearer to 1.
    const double limit = least + 0.3 * (kComesBack - least);
    const auto at = [&](std::size_t edges) { return edges <= all.size() ? all[edges - 1].mismatch : 1.0; };
    constexpr double kFarBetter = 0.1;
    // What comes back after a pattern does so after whole numbers of it alone. Where another number of edges fits far better, this one is alike by
    // chance.
    const auto by_chance = [&](const Recurrence& one) {
        return std::any_of(all.begin(), all.end(), [&](const Recurrence& other) {
            return other.edges % one.edges != 0 && other.mismatch < kFarBetter * one.mismatch;
        });
    };
    for (const Recurrence& each : all) {
        if (each.mismatch > limit || by_chance(each)) continue;
        // A likeness by chance among few uneven teeth: three times as many edges, which no engine cycle needs, fit far better.
        // Twice as many fit better where the two revolutions of a cycle differ, but not that far; four times as many are needed by an engine
        // that swings twice a revolution, where even teeth have no pattern of their own.
        constexpr double kChance = 0.01;
        constexpr double kCycle = 0.06;
        Recurrence base = each;
        const auto edges = static_cast<std::size_t>(each.edges);
        if (at(3 * edges) < kFarBetter * each.mismatch) base = {3 * each.edges, at(3 * edges)};
        if (each.mismatch > kCycle && at(2 * edges) < kFarBetter * each.mismatch && at(2 * edges) <= base.mismatch)
            base = {2 * each.edges, at(2 * edges), true};
        if (base.edges == each.edges && each.mismatch > kCycle && at(4 * edges) < kFarBetter * base.mismatch)
            base = {4 * each.edges, at(4 * edges), true};
        if (base.edges == each.edges && each.mismatch > kChance && at(2 * edges) < kFarBetter * each.mismatch)
            base.doubtful = true;
        return base;
    }
    return {};
}

}  // namespace kurbel::discover
