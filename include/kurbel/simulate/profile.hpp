// A quantity over time: straight lines between points, constant before the first and after the last.
#pragma once

#include <cstddef>
#include <utility>
#include <vector>

namespace kurbel::simulate {

class Profile {
  public:
    Profile() = default;
    /// Constant over time.
    explicit Profile(double value) : points_{{0.0, value}} {}
    /// (seconds, value) in order of time, at least one; equal times make a step.
    explicit Profile(std::vector<std::pair<double, double>> points) : points_(std::move(points)) {}

    [[nodiscard]] bool empty() const noexcept { return points_.empty(); }
    [[nodiscard]] const std::vector<std::pair<double, double>>& points() const noexcept { return points_; }

    /// Value at `time_s`; 0 for an empty profile.
    [[nodiscard]] double at(double time_s) const noexcept {
        const std::size_t i = segment(time_s);
        if (points_.empty()) return 0.0;
        if (i == 0) return points_.front().second;
        if (i == points_.size()) return points_.back().second;
        const auto& [t0, v0] = points_[i - 1];
        const auto& [t1, v1] = points_[i];
        return v0 + (v1 - v0) * (time_s - t0) / (t1 - t0);
    }

    /// Rate of change at `time_s`, per second.
    [[nodiscard]] double slope_at(double time_s) const noexcept {
        const std::size_t i = segment(time_s);
        if (i == 0 || i == points_.size()) return 0.0;
        return (points_[i].second - points_[i - 1].second) / (points_[i].first - points_[i - 1].first);
    }

    /// Largest value of all points; 0 for an empty profile.
    [[nodiscard]] double highest() const noexcept {
        double result = points_.empty() ? 0.0 : points_.front().second;
        for (const auto& point : points_) result = point.second > result ? point.second : result;
        return result;
    }

  private:
    /// Number of points at or before `time_s`.
    [[nodiscard]] std::size_t segment(double time_s) const noexcept {
        std::size_t i = 0;
        while (i < points_.size() && points_[i].first <= time_s) ++i;
        return i;
    }

    std::vector<std::pair<double, double>> points_;
};

}  // namespace kurbel::simulate
