#include "discover/still.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <utility>

#include "discover/middle_mean.hpp"

namespace kurbel::discover {

namespace {

constexpr double kLap_deg = 360.0;

/// Angles seen in one place of the recording.
struct Sight {
    double lap_s = 0.0;
    std::vector<double> deg;
};

/// Neighbouring sights together: their middle means, and what chance makes of those.
struct Group {
    double square = 0.0;  ///< of the lap's time, over its mean
    std::vector<double> deg;
    double variance = 0.0;  ///< of one angle, mean over them
};

constexpr std::size_t kFewestGroups = 6;

/// In order of time.
std::vector<Group> groups_of(const std::vector<Sight>& sights) {
    constexpr std::size_t kFewest = 6;
    constexpr std::size_t kMostGroups = 64;
    const std::size_t wide = std::max(kFewest, (sights.size() + kMostGroups - 1) / kMostGroups);
    std::vector<Group> groups;
    for (std::size_t from = 0; from + wide <= sights.size(); from += wide) {
        Group group;
        std::vector<double> here(wide);
        for (std::size_t j = 0; j < wide; ++j) here[j] = sights[from + j].lap_s * sights[from + j].lap_s;
        group.square = middle_mean(here);
        const std::size_t angles = sights[from].deg.size();
        for (std::size_t i = 0; i < angles; ++i) {
            for (std::size_t j = 0; j < wide; ++j) here[j] = sights[from + j].deg[i];
            group.deg.push_back(middle_mean(here));
            for (const double each : here)
                group.variance += std::pow(each - group.deg.back(), 2) /
                                  static_cast<double>(wide * (wide - 1) * std::max<std::size_t>(1, angles));
        }
        groups.push_back(std::move(group));
    }
    // Over their mean, so that sums of them keep their digits.
    double mean = 0.0;
    for (const Group& each : groups) mean += each.square / static_cast<double>(groups.size());
    for (Group& each : groups) each.square /= mean;
    return groups;
}

/// Sums over groups, for straight lines over the square of the lap's time, one for each angle.
class Sums {
  public:
    explicit Sums(std::size_t angles) : y_(angles), xy_(angles), yy_(angles) {}

    void add(const Group& group, double times = 1.0) {
        groups_ += times;
        x_ += times * group.square;
        xx_ += times * group.square * group.square;
        chance_ += times * group.variance;
        for (std::size_t i = 0; i < y_.size(); ++i) {
            y_[i] += times * group.deg[i];
            xy_[i] += times * group.deg[i] * group.square;
            yy_[i] += times * group.deg[i] * group.deg[i];
        }
    }
    [[nodiscard]] double groups() const { return groups_; }
    [[nodiscard]] double chance() const { return chance_ / groups_; }
    [[nodiscard]] std::size_t angles() const { return y_.size(); }
    [[nodiscard]] double mean_x() const { return x_ / groups_; }
    [[nodiscard]] double mean_y(std::size_t i) const { return y_[i] / groups_; }
    /// Sums of squares about the means.
    [[nodiscard]] double square_x() const { return xx_ - x_ * x_ / groups_; }
    [[nodiscard]] double product(std::size_t i) const { return xy_[i] - x_ * y_[i] / groups_; }
    [[nodiscard]] double square_y(std::size_t i) const { return yy_[i] - y_[i] * y_[i] / groups_; }

  private:
    double groups_ = 0.0;
    double x_ = 0.0;
    double xx_ = 0.0;
    double chance_ = 0.0;
    std::vector<double> y_;
    std::vector<double> xy_;
    std::vector<double> yy_;
};

/// One line through all of `parts`, which may lie at levels of their own.
struct Line {
    double left_over = std::numeric_limits<double>::infinity();  ///< square, mean over the angles
    double spread = 0.0;                                         ///< of x, square
    std::vector<double> slope;
};

template <class... Parts>
Line line_through(const Parts&... parts) {
    Line line;
    line.spread = (parts.square_x() + ...);
    if (!(line.spread > 0.0)) return line;
    line.left_over = 0.0;
    const std::size_t angles = std::max({parts.angles()...});
    for (std::size_t i = 0; i < angles; ++i) {
        line.slope.push_back((parts.product(i) + ...) / line.spread);
        line.left_over += std::max(0.0, (parts.square_y(i) + ...) - line.slope[i] * line.slope[i] * line.spread) /
                          static_cast<double>(angles);
    }
    return line;
}

/// Torque changes along with the speed, by so much of itself: a shut throttle lets less air in at speed (judged; no source).
constexpr double kTorque = 0.15;

/// Of the groups `from` to `to`, whose sums are `all`. If the torque changed at once somewhere between them, groups on either side tell the slope
/// by themselves alone; where a change explains them far better, there was one.
Still still_of(const std::vector<Group>& groups, std::size_t from, std::size_t to, const Sums& all, double least) {
    Line line = line_through(all);
    double figures = 2.0;
    Sums before(all.angles());
    Sums behind = all;
    constexpr double kFarBetter = 0.25;
    for (std::size_t k = from; k + 1 < to; ++k) {
        before.add(groups[k]);
        behind.add(groups[k], -1.0);
        if (before.groups() < 1.5 || behind.groups() < 1.5) continue;
        Line stepped = line_through(before, behind);
        const double known = figures > 2.5 ? 1.0 : kFarBetter;
        if (stepped.left_over >= known * line.left_over) continue;
        line = std::move(stepped);
        figures = 3.0;
    }
    Still still;
    double gas = 0.0;
    for (std::size_t i = 0; i < all.angles(); ++i) {
        gas += std::pow(line.slope[i] * least, 2) / static_cast<double>(all.angles());
        still.seen_deg.push_back(all.mean_y(i));
        still.still_deg.push_back(all.mean_y(i) - line.slope[i] * all.mean_x());
    }
    const double variance = std::max(line.left_over / (all.groups() - figures), all.chance());
    still.doubt_deg = std::sqrt(variance * (1.0 / all.groups() + all.mean_x() * all.mean_x() / line.spread) +
                                kTorque * kTorque * gas);
    still.known = true;
    return still;
}

/// From the stretch of the recording that tells most precisely: where pedal or fuel change, so does the torque at the same speed, and a line
/// through both is none.
Still at_endless_speed(const std::vector<Sight>& sights) {
    Still best;
    const std::vector<Group> groups = groups_of(sights);
    if (groups.empty() || groups.front().deg.empty()) return best;
    for (std::size_t from = 0; from + kFewestGroups <= groups.size(); ++from) {
        Sums sums(groups.front().deg.size());
        double least = std::numeric_limits<double>::infinity();
        double most = 0.0;
        for (std::size_t to = from; to < groups.size(); ++to) {
            sums.add(groups[to]);
            least = std::min(least, groups[to].square);
            most = std::max(most, groups[to].square);
            // Enough of the swing must change between the slowest and the fastest.
            constexpr double kEnough = 1.3;
            if (to + 1 < from + kFewestGroups || most < kEnough * least) continue;
            Still here = still_of(groups, from, to + 1, sums, least);
            if (!best.known || here.doubt_deg < best.doubt_deg) best = std::move(here);
        }
    }
    return best;
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
