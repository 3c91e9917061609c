// Edges that wait to be taken, and the choice of the flank that is a tooth's edge.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "kurbel/signal/waveform_types.hpp"

namespace kurbel::signal {

/// Holds edges of both flanks back until it is known which of them is the tooth's, then gives out that one alone.
///
/// Before a coil a tooth's middle makes the steep crossing: between the teeth, and above all in the middle of a gap, the voltage
/// creeps through zero. So the right flank is the one whose slopes are short beside the distance of the teeth.
class EdgeQueue {
  public:
    static constexpr int kRoom = 512;

    void configure(Flank told) noexcept {
        *this = EdgeQueue{};
        told_ = told;
        chosen_ = told;
    }
    /// Forgets edges, keeps the choice.
    void rewind() noexcept {
        head_ = 0;
        size_ = 0;
        given_ = 0;
    }

    /// `slope_share`: length of the slope over the distance of the teeth; NaN where it is not known.
    void push(const WaveformEdge& edge, double slope_share) noexcept {
        if (slope_share == slope_share) {
            const std::size_t side = edge.flank == Flank::rising ? 1U : 0U;
            if (seen_[side] < kMemory) ++seen_[side];
            const double square = slope_share * slope_share;
            shallow_[side] += (square - shallow_[side]) / seen_[side];
        }
        if (chosen_ != Flank::automatic && edge.flank != chosen_) return;
        if (size_ == kRoom) return;
        queue_[static_cast<std::size_t>((head_ + size_++) % kRoom)] = edge;
    }

    /// Both flanks wait for the choice.
    [[nodiscard]] bool holding() const noexcept { return chosen_ == Flank::automatic; }
    [[nodiscard]] int size() const noexcept { return size_; }
    [[nodiscard]] bool enough() const noexcept { return seen_[0] >= kEnough && seen_[1] >= kEnough; }

    /// The flank that looks right, `otherwise` where both are alike.
    [[nodiscard]] Flank better(Flank otherwise) const noexcept {
        if (!sure()) return otherwise;
        return shallow_[0] < shallow_[1] ? Flank::falling : Flank::rising;
    }
    /// One flank's slopes are clearly shorter.
    [[nodiscard]] bool sure() const noexcept {
        if (seen_[0] < 8 || seen_[1] < 8) return false;
        const double ratio = shallow_[0] / shallow_[1];
        return ratio < 1.0 / kClear || ratio > kClear;
    }

    void choose(Flank flank) noexcept {
        if (!holding()) return;
        chosen_ = flank;
        int kept = 0;
        for (int i = 0; i < size_; ++i) {
            const WaveformEdge edge = queue_[static_cast<std::size_t>((head_ + i) % kRoom)];
            if (edge.flank == flank) queue_[static_cast<std::size_t>((head_ + kept++) % kRoom)] = edge;
        }
        size_ = kept;
    }
    [[nodiscard]] Flank chosen() const noexcept { return chosen_; }
    [[nodiscard]] Flank told() const noexcept { return told_; }
    [[nodiscard]] std::int64_t given() const noexcept { return given_; }

    [[nodiscard]] bool take(WaveformEdge& edge) noexcept {
        if (holding() || size_ == 0) return false;
        edge = queue_[static_cast<std::size_t>(head_)];
        head_ = (head_ + 1) % kRoom;
        --size_;
        ++given_;
        return true;
    }

  private:
    static constexpr int kMemory = 256;
    static constexpr int kEnough = 150;  ///< more than two turns of the usual wheels
    static constexpr double kClear = 1.2;

    std::array<WaveformEdge, kRoom> queue_{};
    std::array<double, 2> shallow_{};  ///< mean square of slope_share, falling and rising
    std::array<int, 2> seen_{};
    std::int64_t given_ = 0;
    std::int32_t head_ = 0;
    std::int32_t size_ = 0;
    Flank told_ = Flank::automatic;
    Flank chosen_ = Flank::automatic;
};

}  // namespace kurbel::signal
