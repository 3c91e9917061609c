#include "discover/still.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

#include "discover/middle_mean.hpp"

namespace kurbel::discover {

namespace {

constexpr double kLap_deg = 360.0;

/// Angles seen in one place of the recording.
struct Sight {
    double lap_s = 0.0;
    std::vector<double> deg;
};

/// Groups of neighbouring speeds, so that each speed counts alike; a straight line through them for each angle.
Still at_endless_speed(std::vector<Sight> sights) {
    constexpr std::size_t kGroups = 6;
    constexpr std::size_t kFewest = 6;
    Still still;
    if (sights.size() < kGroups * kFewest || sights.front().deg.empty()) return still;
    std::sort(sights.begin(), sights.end(), [](const Sight& a, const Sight& b) { return a.lap_s < b.lap_s; });
    std::array<double, kGroups> square{};  // of the lap's time, over its mean and less 1
    const std::size_t angles = sights.front().deg.size();
    std::vector<std::array<double, kGroups>> seen(angles);
    for (std::size_t g = 0; g < kGroups; ++g) {
        const std::size_t from = sights.size() * g / kGroups;
        const std::size_t to = sights.size() * (g + 1) / kGroups;
        for (std::size_t j = from; j < to; ++j)
            square[g] += sights[j].lap_s * sights[j].lap_s / static_cast<double>(to - from);
        for (std::size_t i = 0; i < angles; ++i) {
            std::vector<double> here;
            for (std::size_t j = from; j < to; ++j) here.push_back(sights[j].deg[i]);
            seen[i][g] = middle_mean(std::move(here));
        }
    }
    // Between the slowest and the fastest enough of the swing must change.
    constexpr double kEnough = 1.3;
    if (square.back() < kEnough * square.front()) return still;
    const double mean = std::accumulate(square.begin(), square.end(), 0.0) / kGroups;
    double spread = 0.0;
    for (double& each : square) {
        each = each / mean - 1.0;
        spread += each * each;
    }
    double left_over = 0.0;
    for (const std::array<double, kGroups>& each : seen) {
        const double middle = std::accumulate(each.begin(), each.end(), 0.0) / kGroups;
        double slope = 0.0;
        for (std::size_t g = 0; g < kGroups; ++g) slope += square[g] * each[g] / spread;
        for (std::size_t g = 0; g < kGroups; ++g)
            left_over += std::pow(each[g] - middle - slope * square[g], 2) / (kGroups - 2.0);
        still.seen_deg.push_back(middle);
        still.still_deg.push_back(middle - slope);
    }
    still.doubt_deg = std::sqrt(left_over / static_cast<double>(angles) * (1.0 / kGroups + 1.0 / spread));
    still.known = true;
    return still;
}

/// Laps that stand between two others; `see(first, lap_s of the three)` gives the angles.
template <class See>
std::vector<Sight> sights_of(const std::vector<double>& edge_s, const Fold& fold, See&& see) {
    std::vector<Sight> sights;
    const auto edges = static_cast<std::size_t>(fold.edges);
    const auto lap_s = [&](std::size_t begin) { return edge_s[begin + edges] - edge_s[begin]; };
    for (std::size_t j = 1; j + 1 < fold.laps.size(); ++j) {
        const std::size_t first = fold.laps[j].first;
        if (fold.laps[j - 1].first + edges != first || fold.laps[j + 1].first != first + edges) continue;
        Sight sight{0.25 * (lap_s(first - edges) + 2.0 * lap_s(first) + lap_s(first + edges)), {}};
        see(fold.laps[j], sight);
        sights.push_back(std::move(sight));
    }
    return sights;
}

}  // namespace

double size_deg(const std::vector<double>& deg) {
    return std::sqrt(std::inner_product(deg.begin(), deg.end(), deg.begin(), 0.0) / static_cast<double>(deg.size()));
}

Still still_places(const std::vector<double>& edge_s, const Fold& fold) {
    const auto edges = static_cast<std::size_t>(fold.edges);
    // A steady change of speed bends each lap the same way: its angles are taken off by the speeds of the laps beside it.
    return at_endless_speed(sights_of(edge_s, fold, [&](const Lap& lap, Sight& sight) {
        const auto place = [&](std::size_t begin, std::size_t i) {
            return (edge_s[begin + i] - edge_s[begin]) / (edge_s[begin + edges] - edge_s[begin]);
        };
        const double slower = 0.5 *
                              (edge_s[lap.first + 2 * edges] - edge_s[lap.first + edges] - edge_s[lap.first] +
                               edge_s[lap.first - edges]) /
                              sight.lap_s;
        for (std::size_t i = 1; i < edges; ++i) {
            const double seen =
                0.25 * (place(lap.first - edges, i) + 2.0 * place(lap.first, i) + place(lap.first + edges, i));
            sight.deg.push_back(kLap_deg * (seen + 0.5 * slower * seen * (1.0 - seen)));
        }
    }));
}

Still still_alternation(const std::vector<double>& edge_s, const Fold& fold) {
    Fold connected = fold;
    connected.laps = longest_section(fold);
    const auto edges = static_cast<std::size_t>(fold.edges);
    return at_endless_speed(sights_of(edge_s, connected, [&](const Lap& lap, Sight& sight) {
        const double sign = lap.number % 2 == 0 ? kLap_deg : -kLap_deg;
        // Times behind each lap's beginning, in the mean lap's time; the laps beside it take a steady change of speed away.
        const auto apart = [&](std::size_t i) {
            const auto behind = [&](std::size_t begin) { return edge_s[begin + i] - edge_s[begin]; };
            return behind(lap.first) - 0.5 * (behind(lap.first - edges) + behind(lap.first + edges));
        };
        for (std::size_t i = 1; i <= edges; ++i) sight.deg.push_back(sign * apart(i) / sight.lap_s);
    }));
}

}  // namespace kurbel::discover
