#include "discover/still.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>

#include "discover/endless_speed.hpp"
#include "discover/middle_mean.hpp"

namespace kurbel::discover {

namespace {

constexpr double kLap_deg = 360.0;

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

namespace {

/// Sum of the angles of up to six sights from `from` on, going `step`.
std::vector<double> sum_beside(const std::vector<Sight>& sights, std::ptrdiff_t from, std::ptrdiff_t to,
                               std::ptrdiff_t step) {
    constexpr int kBeside = 6;
    std::vector<double> sum(sights[static_cast<std::size_t>(from)].deg.size());
    for (int k = 0; k < kBeside && from != to; ++k, from += step)
        for (std::size_t i = 0; i < sum.size(); ++i) sum[i] += sights[static_cast<std::size_t>(from)].deg[i];
    return sum;
}

/// By how much every second lap's edges stand farther than its neighbours', and its end, in the order of time. Where a missed or false edge
/// interrupts the laps, which of them is the second is told by what they did before.
std::vector<Sight> alternations(const std::vector<double>& edge_s, const Fold& fold) {
    const auto edges = static_cast<std::size_t>(fold.edges);
    double sign = kLap_deg;
    std::size_t last = 0;
    std::vector<std::size_t> runs{0};
    std::vector<Sight> sights = sights_of(edge_s, fold, [&](const Lap& lap, Sight& sight) {
        // Times behind each lap's beginning, in the mean lap's time; the laps beside it take a steady change of speed away.
        const auto apart = [&](std::size_t i) {
            const auto behind = [&](std::size_t begin) { return edge_s[begin + i] - edge_s[begin]; };
            return behind(lap.first) - 0.5 * (behind(lap.first - edges) + behind(lap.first + edges));
        };
        sign = -sign;
        for (std::size_t i = 1; i <= edges; ++i) sight.deg.push_back(sign * apart(i) / sight.lap_s);
        if (lap.first != last + edges) runs.push_back(runs.back());
        last = lap.first;
        ++runs.back();
    });
    for (std::size_t r = 2; r + 1 <= runs.size(); ++r) {
        const auto begin = static_cast<std::ptrdiff_t>(runs[r - 1]);
        const auto end = static_cast<std::ptrdiff_t>(runs[r]);
        if (begin == 0 || begin == end) continue;
        const std::vector<double> before = sum_beside(sights, begin - 1, -1, -1);
        const std::vector<double> behind = sum_beside(sights, begin, end, 1);
        if (std::inner_product(before.begin(), before.end(), behind.begin(), 0.0) >= 0.0) continue;
        for (std::ptrdiff_t j = begin; j < end; ++j)
            for (double& deg : sights[static_cast<std::size_t>(j)].deg) deg = -deg;
    }
    return sights;
}

}  // namespace

Still still_alternation(const std::vector<double>& edge_s, const Fold& fold) {
    return at_endless_speed(alternations(edge_s, fold));
}

double seen_alternation_deg(const std::vector<double>& edge_s, const Fold& fold) {
    std::vector<double> range_deg;
    for (const Group& group : groups_of(alternations(edge_s, fold))) {
        const auto [low, high] = std::minmax_element(group.deg.begin(), group.deg.end());
        range_deg.push_back(std::max(*high, 0.0) - std::min(*low, 0.0));
    }
    return range_deg.empty() ? 0.0 : middle_mean(std::move(range_deg));
}

double alternation_over_chance(const std::vector<double>& edge_s, const Fold& fold) {
    const std::vector<Group> groups = groups_of(alternations(edge_s, fold));
    constexpr std::size_t kFewest = 4;
    if (groups.size() < kFewest) return 0.0;
    std::vector<double> ratio;
    constexpr double kNothing_deg = 1e-4;
    for (const Group& group : groups)
        ratio.push_back(std::pow(size_deg(group.deg), 2) / (group.variance + kNothing_deg * kNothing_deg));
    return middle_mean(std::move(ratio));
}

}  // namespace kurbel::discover
