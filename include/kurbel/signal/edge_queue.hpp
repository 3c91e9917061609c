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
/// creeps through zero. So the right flank is the one whose slopes are short beside the distance of the teeth. And the crossing in the
/// middle of the gap halves it: among the distances from one wrong crossing to the next there are two that are long by half a gap, among
/// the right ones a single one that is long by the whole gap. So the right flank's distances have the larger mean square; and it alone has
/// long ones between two that are alike, which an engine that runs up or stops doesn't change.
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
        before_ = {-1.0, -1.0};  // the first edge is no distance from the last one
        last_ = {};
    }

    /// `slope_share`: length of the slope over the distance of the teeth; NaN where it is not known.
    void push(const WaveformEdge& edge, double slope_share) noexcept {
        compare_distance(edge);
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
        const double lean = this->lean();
        if (lean > 1.0) return Flank::falling;
        return lean < -1.0 ? Flank::rising : otherwise;
    }
    /// One flank is clearly the better one.
    [[nodiscard]] bool sure() const noexcept { return std::fabs(lean()) > 1.0; }

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
    /// Above 1 falling is right, below -1 rising.
    [[nodiscard]] double lean() const noexcept {
        if (seen_[0] < 8 || seen_[1] < 8) return 0.0;
        // Where gaps tell, they do so whatever the engine does; where the distances tell, whatever the input circuit makes of the heights.
        const double by_gaps =
            count_[0] > 40 && count_[1] > 40 ? (gaps_[0] / count_[0] - gaps_[1] / count_[1]) / kDistancesTell : 0.0;
        if (std::fabs(by_gaps) > 1.0) return by_gaps;
        const double by_distance =
            count_[0] > 40 && count_[1] > 40 ? std::log(spread(0) / spread(1)) / kDistancesTell : 0.0;
        if (std::fabs(by_distance) > 1.0) return by_distance;
        return std::log(shallow_[1] / shallow_[0]) / kSlopesTell;
    }
    /// Mean square of the distances over their mean's square.
    [[nodiscard]] double spread(std::size_t side) const noexcept {
        return count_[side] * squares_[side] / (sum_[side] * sum_[side]);
    }
    void compare_distance(const WaveformEdge& edge) noexcept {
        const std::size_t side = edge.flank == Flank::rising ? 1U : 0U;
        // Where one flank follows itself, a crossing of the other was too weak to be seen: it lies between them, in a gap.
        if (before_[side] > before_[1U - side] && before_[1U - side] >= 0.0)
            add_distance(1U - side, 0.5 * (before_[side] + edge.time_s));
        add_distance(side, edge.time_s);
    }
    void add_distance(std::size_t side, double time_s) noexcept {
        const double distance = time_s - before_[side];
        if (before_[side] >= 0.0) {
            count_[side] += 1.0;
            sum_[side] += distance;
            squares_[side] += distance * distance;
            add_gap(side, distance);
        }
        before_[side] = time_s;
    }

    /// The last distance but one before `next`, beside the two around it.
    void add_gap(std::size_t side, double next) noexcept {
        std::array<double, 2>& last = last_[side];
        const double around = 0.5 * (last[0] + next);
        const bool alike = next < kAlike * last[0] && last[0] < kAlike * next;
        if (alike && last[1] > around) {
            const double longer = last[1] / around - 1.0;
            gaps_[side] += longer * longer < kLongest ? longer * longer : kLongest;
        }
        last = {last[1], next};
    }

    static constexpr double kAlike = 1.6;  ///< more than speed changes from tooth to tooth, less than half a gap of two
    static constexpr double kLongest = 4.0;  ///< two places absent
    static constexpr int kMemory = 256;
    static constexpr int kEnough = 150;             ///< more than two turns of the usual wheels
    static constexpr double kSlopesTell = 0.2;      ///< logarithm of a ratio of mean squares
    static constexpr double kDistancesTell = 0.01;  ///< the same; one place absent of 60 makes 0.016

    std::array<WaveformEdge, kRoom> queue_{};
    std::array<double, 2> shallow_{};  ///< mean square of slope_share, falling and rising
    std::array<int, 2> seen_{};
    std::array<double, 2> before_{-1.0, -1.0};
    std::array<double, 2> count_{};
    std::array<double, 2> sum_{};
    std::array<double, 2> squares_{};
    std::array<double, 2> gaps_{};                 ///< sum of squares by which distances are longer than those around
    std::array<std::array<double, 2>, 2> last_{};  ///< distances
    std::int64_t given_ = 0;
    std::int32_t head_ = 0;
    std::int32_t size_ = 0;
    Flank told_ = Flank::automatic;
    Flank chosen_ = Flank::automatic;
};

}  // namespace kurbel::signal
