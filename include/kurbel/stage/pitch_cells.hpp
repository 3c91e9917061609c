// What was seen of each pattern over the teeth, gathered by speed: all that the fit needs to know of a recording.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/stage/half_orders.hpp"
#include "kurbel/stage/wheel_basis.hpp"

namespace kurbel {

/// Means of all patterns over engine cycles that were alike: one speed within 6 %, with fuel or without.
struct PitchCell {
    double weight = 0.0;       ///< engine cycles
    double half_weight = 0.0;  ///< of them, where it is known which revolution was which
    double speed_rad_s = 0.0;
    double load = 0.0;
    bool fires = false;
    std::array<float, WheelBasis::kMost> mean{};  ///< of each pattern, degrees times the root of the teeth
    std::array<float, HalfOrders::kMost> half{};  ///< of half the difference between both revolutions
};

/// A fixed number of cells. Where they run out, the new one takes the place of the lightest of those that are left over: a recording
/// that goes through more than 30 speeds has no need of each.
class PitchCells {
  public:
    static constexpr int kMost = 32;

    /// Some cycles that were alike.
    struct Block {
        double speed_rad_s = 0.0;
        double load = 0.0;
        bool fires = false;
        double weight = 0.0;
        double half_weight = 0.0;
        std::array<double, WheelBasis::kMost> mean{};
        std::array<double, HalfOrders::kMost> half{};
    };

    void clear() noexcept {
        count_ = 0;
        within_.fill(0.0);
        half_within_.fill(0.0);
        within_count_ = 0;
        half_within_count_ = 0;
    }

    [[nodiscard]] int count() const noexcept { return count_; }
    [[nodiscard]] const PitchCell& operator[](int i) const noexcept { return cell_[static_cast<std::size_t>(i)]; }

    void add(const Block& block) noexcept {
        PitchCell& cell = find(block.speed_rad_s, block.load, block.fires);
        const double share = block.weight / (cell.weight + block.weight);
        within_count_ += gather(block.mean, block.weight, cell.weight, cell.mean, within_) ? 1 : 0;
        half_within_count_ += gather(block.half, block.half_weight, cell.half_weight, cell.half, half_within_) ? 1 : 0;
        cell.speed_rad_s += share * (block.speed_rad_s - cell.speed_rad_s);
        cell.load += share * (block.load - cell.load);
        cell.weight += block.weight;
        cell.half_weight += block.half_weight;
    }

    /// Scatter within the cells: variance of one cycle of pattern `m` is within(m) / within_count().
    [[nodiscard]] double within(int m) const noexcept { return within_[static_cast<std::size_t>(m)]; }
    [[nodiscard]] int within_count() const noexcept { return within_count_; }
    /// The same of what differs between both revolutions.
    [[nodiscard]] double half_within(int m) const noexcept { return half_within_[static_cast<std::size_t>(m)]; }
    [[nodiscard]] int half_within_count() const noexcept { return half_within_count_; }

  private:
    static constexpr double kStep = 0.06;
    static constexpr double kLoadStep = 0.15;

    /// Moves the mean of a cell that holds `old` cycles; true where it held any, so that their scatter shows.
    template <std::size_t Size>
    static bool gather(const std::array<double, Size>& seen, double weight, double old, std::array<float, Size>& mean,
                       std::array<double, Size>& within) noexcept {
        if (!(weight > 0.0)) return false;
        const double share = weight / (old + weight);
        for (std::size_t m = 0; m < Size; ++m) {
            const double off = seen[m] - static_cast<double>(mean[m]);
            within[m] += old * share * off * off;
            mean[m] = static_cast<float>(static_cast<double>(mean[m]) + share * off);
        }
        return old > 0.0;
    }

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
    int half_within_count_ = 0;
    std::array<double, WheelBasis::kMost> within_{};
    std::array<double, HalfOrders::kMost> half_within_{};
    std::array<PitchCell, kMost> cell_{};
};

}  // namespace kurbel
