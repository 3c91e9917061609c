// What differs between both revolutions of a cycle: the crank's motion without any wheel.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"

namespace kurbel {

/// Half of the difference between both revolutions, tooth by tooth, holds the orders 0.5, 1.5, 2.5, ... and nothing of the wheel.
/// Taken apart into a cosine and a sine of each, scaled so that jitter which is independent from tooth to tooth is as large in each
/// as in one tooth.
class HalfOrders {
  public:
    static constexpr int kMostOrders = 12;
    static constexpr int kMost = 2 * kMostOrders;

    void build(const WheelConfig& wheel, int strokes) noexcept {
        teeth_ = wheel.teeth;
        // Fewer teeth hold fewer orders; a two-stroke's revolutions are alike.
        size_ = strokes == 2 ? 0 : 2 * std::min(kMostOrders, teeth_ / 2);
        for (int j = 0; j < teeth_; ++j) {
            const double half = 0.5 * to_rad(static_cast<double>(wheel.angle_deg[at(j)]) - wheel.tdc1_deg);
            cosine_[at(j)] = static_cast<float>(std::cos(half));
            sine_[at(j)] = static_cast<float>(std::sin(half));
        }
    }

    [[nodiscard]] int size() const noexcept { return size_; }
    /// Twice the order of pattern `m`.
    [[nodiscard]] static int twice_order(int m) noexcept { return 2 * (m / 2) + 1; }

    /// All patterns in `value`, one number a tooth.
    template <class Value>
    void project(const Value* value, double* patterns) const noexcept {
        for (int m = 0; m < size_; ++m) patterns[m] = 0.0;
        // Some teeth side by side: each order follows from the one before, for which one tooth alone would wait. Places beyond the last
        // tooth hold nothing.
        for (int first = 0; first < teeth_; first += kBeside) {
            Waves wave;
            for (int k = 0; k < kBeside && first + k < teeth_; ++k) {
                const auto c = static_cast<double>(cosine_[at(first + k)]);
                const auto s = static_cast<double>(sine_[at(first + k)]);
                const auto size = static_cast<double>(value[first + k]);
                wave.x[at(k)] = size * c;
                wave.y[at(k)] = size * s;
                wave.cosine[at(k)] = c * c - s * s;
                wave.sine[at(k)] = 2.0 * c * s;
            }
            for (int m = 0; m + 1 < size_; m += 2) {
                std::array<double, 2> x{};
                std::array<double, 2> y{};
                for (std::size_t k = 0; k < kBeside; k += 2)
                    for (std::size_t i = 0; i < 2; ++i) {
                        x[i] += wave.x[k + i];
                        y[i] += wave.y[k + i];
                    }
                for (std::size_t k = 0; k < kBeside; ++k) {
                    const double next = wave.x[k] * wave.cosine[k] - wave.y[k] * wave.sine[k];
                    wave.y[k] = wave.x[k] * wave.sine[k] + wave.y[k] * wave.cosine[k];
                    wave.x[k] = next;
                }
                patterns[m] += x[0] + x[1];
                patterns[m + 1] += y[0] + y[1];
            }
        }
        const double scale = std::sqrt(2.0 / teeth_);
        for (int m = 0; m < size_; ++m) patterns[m] *= scale;
    }

  private:
    static constexpr int kBeside = 8;

    /// Teeth's values times the wave there, and by how much it turns from one order to the next.
    struct Waves {
        std::array<double, kBeside> x{};
        std::array<double, kBeside> y{};
        std::array<double, kBeside> cosine{};
        std::array<double, kBeside> sine{};
    };

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    int teeth_ = 0;
    int size_ = 0;
    std::array<float, kMaxTeeth> cosine_{};
    std::array<float, kMaxTeeth> sine_{};
};

}  // namespace kurbel
