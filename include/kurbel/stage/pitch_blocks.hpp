// Cycles of the crank wheel, averaged in blocks of like ones and taken apart in what the crank may have done and what it cannot.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/half_orders.hpp"
#include "kurbel/stage/pitch_cells.hpp"
#include "kurbel/stage/tooth_deviation.hpp"
#include "kurbel/stage/wheel_basis.hpp"

namespace kurbel {

/// A few cycles at one speed, with or without fuel, are averaged, so that what is taken apart costs little and scatters less. Slow patterns over the
/// teeth, and half orders, go to the cells of speed and load; the rest, which no swing of the crank can make, is summed by tooth. A cycle
/// whose revolutions differ by far more than usual holds a misfire, or something else that is no example.
template <class Real>
class PitchBlocks {
  public:
    void reset() noexcept { *this = PitchBlocks{}; }

    /// Takes a cycle. `seems_deg`, `half_deg`: by tooth, see ToothDeviation.
    void push(const CycleOfTeeth& cycle, const std::array<Real, kMaxTeeth>& seems_deg,
              const std::array<Real, kMaxTeeth>& half_deg, const WheelBasis& basis, const HalfOrders& halves,
              int teeth) noexcept {
        if (!ordinary(cycle)) return;
        if (block_cycles_ > 0 && !alike(cycle)) end_block(basis, halves, teeth);
        fires_ = cycle.fires;
        speed_sum_ += cycle.speed_rad_s;
        load_sum_ += cycle.load;
        ++block_cycles_;
        for (int j = 0; j < teeth; ++j) block_[at(j)] += seems_deg[at(j)];
        if (cycle.phase_known) {
            ++half_count_;
            for (int j = 0; j < teeth; ++j) half_block_[at(j)] += half_deg[at(j)];
        }
        if (block_cycles_ == kBlock) end_block(basis, halves, teeth);
    }

    /// Takes the block apart that was not full yet.
    void finish(const WheelBasis& basis, const HalfOrders& halves, int teeth) noexcept {
        if (block_cycles_ > 0) end_block(basis, halves, teeth);
    }

    /// All that were pushed and were no exception, those of the block that is not full yet included.
    [[nodiscard]] int cycles() const noexcept { return cycles_ + block_cycles_; }
    [[nodiscard]] const PitchCells& cells() const noexcept { return cells_; }

    /// Blocks, and cycles in them, that the rest is known from.
    [[nodiscard]] int blocks() const noexcept { return blocks_; }
    [[nodiscard]] double weight() const noexcept { return weight_; }
    /// Mean of what a tooth shows beyond the patterns, degrees.
    [[nodiscard]] double rest(int j) const noexcept { return static_cast<double>(rest_sum_[at(j)]) / weight_; }
    /// Sum over cycles of its square over all teeth.
    [[nodiscard]] double rest_square() const noexcept { return rest_square_; }

  private:
    static constexpr int kBlock = 4;        // cycles that are averaged before they are taken apart
    static constexpr double kAlike = 0.04;  // speeds of one block
    static constexpr double kApart = 9.0;  // a cycle whose revolutions differ so much more (squared) is no ordinary one

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    /// Follows the median of how much both revolutions differ; a lost combustion sets them far apart.
    [[nodiscard]] bool ordinary(const CycleOfTeeth& cycle) noexcept {
        const double half = cycle.half_square;
        if (usual_half_ < 0.0) usual_half_ = half;
        const bool fine = half <= kApart * usual_half_;
        usual_half_ *= half > usual_half_ ? 1.1 : 1.0 / 1.1;
        return fine;
    }

    [[nodiscard]] bool alike(const CycleOfTeeth& cycle) const noexcept {
        const double mean = speed_sum_ / block_cycles_;
        return cycle.fires == fires_ && std::fabs(cycle.speed_rad_s - mean) < kAlike * mean;
    }

    void end_block(const WheelBasis& basis, const HalfOrders& halves, int teeth) noexcept {
        const double count = block_cycles_;
        std::array<double, kMaxTeeth> mean{};
        double all = 0.0;
        for (int j = 0; j < teeth; ++j) all += static_cast<double>(block_[at(j)]);
        for (int j = 0; j < teeth; ++j) mean[at(j)] = (static_cast<double>(block_[at(j)]) - all / teeth) / count;
        PitchCells::Block block{speed_sum_ / count, load_sum_ / count, fires_, count, 1.0 * half_count_, {}, {}};
        for (int m = 0; m < basis.size(); ++m) {
            const double part = basis.project(m, mean.data());
            block.mean[at(m)] = part;
            const float* pattern = basis.pattern(m);
            for (int j = 0; j < teeth; ++j) mean[at(j)] -= part * static_cast<double>(pattern[j]);
        }
        if (half_count_ > 0) {
            halves.project(half_block_.data(), block.half.data());
            for (double& half : block.half) half /= half_count_;
        }
        cells_.add(block);
        // What is left no swing of the crank can make.
        double square = 0.0;
        for (int j = 0; j < teeth; ++j) {
            rest_sum_[at(j)] += static_cast<Real>(count * mean[at(j)]);
            square += mean[at(j)] * mean[at(j)];
        }
        rest_square_ += count * square;
        weight_ += count;
        ++blocks_;
        cycles_ += block_cycles_;
        clear_block();
    }

    void clear_block() noexcept {
        block_cycles_ = 0;
        speed_sum_ = 0.0;
        load_sum_ = 0.0;
        block_.fill(0);
        half_count_ = 0;
        half_block_.fill(0);
    }

    int cycles_ = 0;
    int blocks_ = 0;
    int block_cycles_ = 0;
    int half_count_ = 0;
    bool fires_ = true;
    double speed_sum_ = 0.0;
    double load_sum_ = 0.0;
    double usual_half_ = -1.0;
    double rest_square_ = 0.0;
    double weight_ = 0.0;
    PitchCells cells_{};
    std::array<Real, kMaxTeeth> block_{};
    std::array<Real, kMaxTeeth> half_block_{};
    std::array<Real, kMaxTeeth> rest_sum_{};
};

}  // namespace kurbel
