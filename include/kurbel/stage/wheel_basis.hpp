// Patterns over the teeth of one wheel, from slow to fast: the frame in which wheel error is told from the crank's motion.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"

namespace kurbel {

/// Orthonormal patterns over the teeth that are there, made of the orders 1, 2, ... of one revolution in turn (Gram-Schmidt).
/// The crank's motion lies in the first ones; whatever they cannot hold is wheel error alone. Orthonormal, because a jitter that
/// is the same and independent at all teeth is then so in all patterns, gaps or not. On a wheel with few teeth fast motion
/// looks like a slow pattern; the patterns then hold all that the wheel can show.
class WheelBasis {
  public:
    static constexpr int kMostOrders = 12;  ///< gas torque beyond moves no tooth by 0.001 degrees
    static constexpr int kMost = 2 * kMostOrders;

    void build(const WheelConfig& wheel) noexcept {
        teeth_ = wheel.teeth;
        size_ = 0;
        const int most = std::min(kMost, teeth_ - 1);
        for (int order = 1; size_ < most && order <= 3 * teeth_; ++order) {
            add(wheel, order, false);
            if (size_ < most) add(wheel, order, true);
        }
    }

    [[nodiscard]] int size() const noexcept { return size_; }
    [[nodiscard]] int teeth() const noexcept { return teeth_; }
    /// The order that pattern `m` was made of.
    [[nodiscard]] int order(int m) const noexcept { return order_[static_cast<std::size_t>(m)]; }
    /// Values of pattern `m` at the teeth.
    [[nodiscard]] const float* pattern(int m) const noexcept { return pattern_[static_cast<std::size_t>(m)].data(); }

    /// How much of pattern `m` is in `value`, one number a tooth.
    template <class Value>
    [[nodiscard]] double project(int m, const Value* value) const noexcept {
        const float* q = pattern(m);
        // Four sums side by side: one alone would wait for each addition.
        std::array<double, 4> sum{};
        int j = 0;
        for (; j + 4 <= teeth_; j += 4)
            for (int k = 0; k < 4; ++k)
                sum[static_cast<std::size_t>(k)] += static_cast<double>(q[j + k]) * static_cast<double>(value[j + k]);
        for (; j < teeth_; ++j) sum[0] += static_cast<double>(q[j]) * static_cast<double>(value[j]);
        return (sum[0] + sum[1]) + (sum[2] + sum[3]);
    }

    /// Share of tooth `j` that all patterns and the mean together hold, 0 to 1.
    [[nodiscard]] double leverage(int j) const noexcept {
        double sum = 1.0 / teeth_;
        for (int m = 0; m < size_; ++m) {
            const auto q = static_cast<double>(pattern(m)[j]);
            sum += q * q;
        }
        return sum;
    }

  private:
    /// What is left of a wave after the patterns so far must be this share of it, else it would be mostly noise.
    static constexpr double kLeastNew = 0.02;

    void add(const WheelConfig& wheel, int order, bool sine) noexcept {
        std::array<double, kMaxTeeth> wave{};
        for (int j = 0; j < teeth_; ++j) {
            const double angle = order * to_rad(static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(j)]));
            wave[static_cast<std::size_t>(j)] = sine ? std::sin(angle) : std::cos(angle);
        }
        const double whole = square_sum(wave);
        // Twice is enough: what rounding leaves the first time is gone the second.
        for (int round = 0; round < 2; ++round) take_out_known(wave);
        const double left = square_sum(wave);
        if (!(left > kLeastNew * whole) || !(left > 1e-3)) return;
        const double scale = 1.0 / std::sqrt(left);
        for (int j = 0; j < teeth_; ++j)
            pattern_[static_cast<std::size_t>(size_)][static_cast<std::size_t>(j)] =
                static_cast<float>(scale * wave[static_cast<std::size_t>(j)]);
        order_[static_cast<std::size_t>(size_++)] = order;
    }

    void take_out_known(std::array<double, kMaxTeeth>& wave) const noexcept {
        double mean = 0.0;
        for (int j = 0; j < teeth_; ++j) mean += wave[static_cast<std::size_t>(j)] / teeth_;
        for (int j = 0; j < teeth_; ++j) wave[static_cast<std::size_t>(j)] -= mean;
        for (int m = 0; m < size_; ++m) {
            const double part = project(m, wave.data());
            for (int j = 0; j < teeth_; ++j)
                wave[static_cast<std::size_t>(j)] -= part * static_cast<double>(pattern(m)[j]);
        }
    }

    [[nodiscard]] double square_sum(const std::array<double, kMaxTeeth>& wave) const noexcept {
        double sum = 0.0;
        for (int j = 0; j < teeth_; ++j) sum += wave[static_cast<std::size_t>(j)] * wave[static_cast<std::size_t>(j)];
        return sum;
    }

    int teeth_ = 0;
    int size_ = 0;
    std::array<int, kMost> order_{};
    std::array<std::array<float, kMaxTeeth>, kMost> pattern_{};
};

}  // namespace kurbel
