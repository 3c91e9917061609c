// How the crank's orders lie on the patterns over the teeth.
#pragma once

#include <array>
#include <cmath>
#include <complex>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/crank_wobble.hpp"
#include "kurbel/stage/half_orders.hpp"
#include "kurbel/stage/wheel_basis.hpp"

namespace kurbel {

/// Patterns 0 to wheel() - 1 are those of WheelBasis and hold integer orders, all others those of HalfOrders. On a wheel with few teeth,
/// or with gaps, one order shows in several patterns.
class CrankView {
  public:
    using Phasor = std::complex<double>;
    static constexpr int kMost = WheelBasis::kMost + HalfOrders::kMost;
    static constexpr int kOrders = CrankWobble::kOrders;

    void build(const WheelConfig& wheel, const WheelBasis& basis, const HalfOrders& halves) noexcept {
        wheel_ = basis.size();
        size_ = wheel_ + halves.size();
        std::array<double, kMaxTeeth> c{};
        std::array<double, kMaxTeeth> s{};
        for (int twice = 1; twice <= 2 * kOrders; ++twice) {
            for (int j = 0; j < wheel.teeth; ++j) {
                const double angle = 0.5 * twice * to_rad(static_cast<double>(wheel.angle_deg[at(j)]) - wheel.tdc1_deg);
                c[at(j)] = std::cos(angle);
                s[at(j)] = std::sin(angle);
            }
            const int row = (twice - 1) / 2;
            if (twice % 2 == 0) {
                for (int m = 0; m < wheel_; ++m)
                    weight_[at(m)][at(row)] = store(basis.project(m, c.data()), basis.project(m, s.data()));
            } else {
                std::array<double, HalfOrders::kMost> cosine{};
                std::array<double, HalfOrders::kMost> sine{};
                halves.project(c.data(), cosine.data());
                halves.project(s.data(), sine.data());
                for (int m = 0; m < halves.size(); ++m)
                    weight_[at(wheel_ + m)][at(row)] = store(cosine[at(m)], sine[at(m)]);
            }
        }
    }

    [[nodiscard]] int wheel() const noexcept { return wheel_; }
    [[nodiscard]] int size() const noexcept { return size_; }
    /// Twice the order that row `row` of pattern `m` holds.
    [[nodiscard]] int twice_order(int m, int row) const noexcept { return m < wheel_ ? 2 * row + 2 : 2 * row + 1; }
    /// A swing with phasor X of that order shows in the pattern as the real part of X times this.
    [[nodiscard]] Phasor weight(int m, int row) const noexcept {
        const std::complex<float> stored = weight_[at(m)][at(row)];
        return {static_cast<double>(stored.real()), static_cast<double>(stored.imag())};
    }

  private:
    static constexpr double kLeast = 1e-5;
    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }
    /// What is hardly there is left out: most orders show in two patterns alone.
    [[nodiscard]] static std::complex<float> store(double c, double s) noexcept {
        if (c * c + s * s < kLeast) return {};
        return {static_cast<float>(2.0 * c), static_cast<float>(2.0 * s)};
    }

    int wheel_ = 0;
    int size_ = 0;
    std::array<std::array<std::complex<float>, kOrders>, kMost> weight_{};
};

}  // namespace kurbel
