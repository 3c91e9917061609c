// What was seen of each pattern of the wheel, gathered by speed: all that the fit needs to know of a recording.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/stage/wheel_basis.hpp"

namespace kurbel {

/// Means of all patterns over engine cycles that were alike: one speed within 6 %, with fuel or without.
struct PitchCell {
    double weight = 0.0;  ///< engine cycles
    double speed_rad_s = 0.0;
    double load = 0.0;
    bool fires = false;
    std::array<float, WheelBasis::kMost> mean{};  ///< of each pattern, degrees times the root of the teeth
};

/// A fixed number of cells. Where they run out, the new one takes the place of the lightest of those that are left over: a recording
/// that goes through more than 30 speeds has no need of each.
class PitchCells {
  public:
    static constexpr int kMost = 32;

    void clear() noexcept {
        count_ = 0;
        within_.fill(0.0);
        within_count_ = 0;
    }

    [[nodiscard]] int count() const noexcept { return count_; }
    [[nodiscard]] const PitchCell& operator[](int i) const noexcept { return cell_[static_cast<std::size_t>(i)]; }

    /// Adds `weight` cycles whose patterns had these means. `size` patterns.
    void add(double speed_rad_s, double load, bool fires, double weight,
             const std::array<double, WheelBasis::kMost>& mean, int size) noexcept {
        PitchCell& cell = find(speed_rad_s, load, fires);
        const bool first = !(cell.weight > 0.0);
        const double share = weight / (cell.weight + weight);
        for (int m = 0; m < size; ++m) {
            const auto at = static_cast<std::size_t>(m);
            const double off = mean[at] - static_cast<double>(cell.mean[at]);
            within_[at] += first ? 0.0 : cell.weight * share * off * off;
            cell.mean[at] = static_cast<float>(static_cast<double>(cell.mean[at]) + share * off);
        }
        within_count_ += first ? 0 : 1;
        cell.speed_rad_s += share * (speed_rad_s - cell.speed_rad_s);
        cell.load += share * (load - cell.load);
        cell.weight += weight;
    }

    /// Scatter within the cells: variance of one cycle of pattern `m` is within(m) / within_count().
    [[nodiscard]] double within(int m) const noexcept { return within_[static_cast<std::size_t>(m)]; }
    [[nodiscard]] int within_count() const noexcept { return within_count_; }

  private:
    static constexpr double kStep = 0.06;
    static constexpr double kLoadStep = 0.15;

    PitchCell& find(double speed, double load, bool fires) noexcept {
        for (int i = 0; i < count_; ++i) {
            PitchCell& cell = cell_[static_cast<std::size_t>(i)];
            const bool same_load = !(std::fabs(cell.load - load) > kLoadStep);  // NaN, too
            if (cell.fires == fires && same_load && std::fabs(std::log(speed / cell.speed_rad_s)) < 0.5 * kStep)
                return cell;
        }
        std::size_t place = 0;
        if (count_ < kMost) {
            place = static_cast<std::size_t>(count_++);
        } else {
            for (std::size_t i = 1; i < cell_.size(); ++i)
                if (cell_[i].weight < cell_[place].weight) place = i;
        }
        cell_[place] = PitchCell{};
        cell_[place].speed_rad_s = speed;
        cell_[place].load = load;
        cell_[place].fires = fires;
        return cell_[place];
    }

    int count_ = 0;
    int within_count_ = 0;
    std::array<double, WheelBasis::kMost> within_{};
    std::array<PitchCell, kMost> cell_{};
};

}  // namespace kurbel
