#include "discover/endless_speed.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "discover/middle_mean.hpp"

namespace kurbel::discover {

namespace {

constexpr std::size_t kFewestGroups = 6;

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

}  // namespace

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

}  // namespace kurbel::discover
