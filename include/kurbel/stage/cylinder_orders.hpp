// How each cylinder, and all of them together, show at the low orders of the cycle.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/response_bank.hpp"
#include "kurbel/stage/usual_engine.hpp"

namespace kurbel {

/// Fourier components, on the cycle grid, of what a rigid crank shows: one combustion lost in each cylinder, combustion and
/// compression of all healthy cylinders, and the torque of their reciprocating masses. Entry o stands for the o-th order in use. Orders
/// at which healthy cylinders all add up tell nothing about one of them and are left out.
class CylinderOrders {
  public:
    static constexpr int kMaxOrders = 16;
    using Complex = std::complex<float>;

    /// Parts that all cylinders share; the twisted ones have each cylinder weighted by its gain in the first torsion mode. (What masses
    /// do to a rigid crank, the energy is corrected for.)
    enum Shared : int {
        kCombustion,
        kCompression,
        kTwistedCombustion,
        kTwistedCompression,
        kTwistedInertia,
        kSharedParts
    };

    void begin(const EngineConfig& engine, const CycleGrid& grid, const ResponseBank& bank, int first_bin,
               int size) noexcept {
        firings_ = grid.firings;
        bins_ = grid.bins;
        cycle_revolutions_ = engine.strokes == 2 ? 1 : 2;
        for (int b = 0; b < bins_; ++b)
            turn_[static_cast<std::size_t>(b)] =
                std::polar(1.0F, static_cast<float>(-2.0 * std::numbers::pi * b / bins_));
        choose_orders(engine);
        for (int o = 0; o < orders_; ++o) {
            for (Complex& part : at(o).shared) part = 0;
            for (int k = 0; k < firings_; ++k) add_cylinder(o, k, grid, bank, first_bin, size);
            add_compression(o, SliderCrank::of(engine), engine, bank);
            add_inertia(o, SliderCrank::of(engine), engine, bank);
        }
    }

    [[nodiscard]] int count() const noexcept { return orders_; }
    [[nodiscard]] int firings() const noexcept { return firings_; }

    /// Cycles a revolution of entry o.
    [[nodiscard]] float per_revolution(int o) const noexcept {
        return static_cast<float>(at(o).per_cycle) / static_cast<float>(cycle_revolutions_);
    }

    /// Wheel error repeats every revolution, so it lies at integer orders.
    [[nodiscard]] bool holds_wheel_error(int o) const noexcept { return at(o).per_cycle % cycle_revolutions_ == 0; }

    [[nodiscard]] float bin_rad() const noexcept {
        return 2.0F * std::numbers::pi_v<float> * static_cast<float>(cycle_revolutions_) / static_cast<float>(bins_);
    }
    [[nodiscard]] int bins() const noexcept { return bins_; }
    /// Healthy cylinders add up to nothing at the orders in use.
    [[nodiscard]] bool even() const noexcept { return even_; }
    [[nodiscard]] bool four_stroke() const noexcept { return cycle_revolutions_ == 2; }

    /// One combustion lost at place k of the firing order, in units of its work.
    [[nodiscard]] Complex lost(int o, int k) const noexcept { return at(o).lost[static_cast<std::size_t>(k)]; }
    [[nodiscard]] Complex shared(int o, Shared part) const noexcept {
        return at(o).shared[static_cast<std::size_t>(part)];
    }

    /// Component of a cycle of bins.
    template <class Real>
    [[nodiscard]] std::complex<Real> project(const std::array<Real, kMaxBins>& values, int o) const noexcept {
        // In parts: a product of complex numbers would look for infinities each time.
        Real real = 0;
        Real imag = 0;
        const int step = at(o).per_cycle;
        for (int b = 0, place = 0; b < bins_; ++b) {
            const Complex turn = turn_[static_cast<std::size_t>(place)];
            real += values[static_cast<std::size_t>(b)] * static_cast<Real>(turn.real());
            imag += values[static_cast<std::size_t>(b)] * static_cast<Real>(turn.imag());
            place += step;
            if (place >= bins_) place -= bins_;
        }
        return {real, imag};
    }

  private:
    struct Order {
        int per_cycle = 1;
        std::array<Complex, kMaxCylinders> lost{};
        std::array<Complex, kSharedParts> shared{};
    };

    [[nodiscard]] Order& at(int o) noexcept { return order_[static_cast<std::size_t>(o)]; }
    [[nodiscard]] const Order& at(int o) const noexcept { return order_[static_cast<std::size_t>(o)]; }

    void choose_orders(const EngineConfig& engine) noexcept {
        even_ = is_even(engine);
        const int highest = std::min(bins_ / 2 - 1, std::max(2 * firings_ - 1, 6));
        orders_ = 0;
        for (int m = 1; m <= highest && orders_ < kMaxOrders; ++m)
            if (!even_ || m % firings_ != 0) at(orders_++).per_cycle = m;
    }

    [[nodiscard]] static bool is_even(const EngineConfig& engine) noexcept {
        for (int i = 0; i < engine.cylinders; ++i)
            if (std::fabs(engine.firing_tdc_deg[static_cast<std::size_t>(i)] -
                          i * engine.cycle_deg() / engine.cylinders) > 0.5)
                return false;
        return true;
    }

    void add_cylinder(int o, int k, const CycleGrid& grid, const ResponseBank& bank, int first_bin, int size) noexcept {
        Complex sum = 0;
        for (int j = 0; j < size; ++j) {
            int place = (grid.tdc_bin[static_cast<std::size_t>(k)] + first_bin + j) * at(o).per_cycle % bins_;
            if (place < 0) place += bins_;
            sum += bank.rigid(k)[static_cast<std::size_t>(j)] * turn_[static_cast<std::size_t>(place)];
        }
        at(o).lost[static_cast<std::size_t>(k)] = sum;
        at(o).shared[kCombustion] -= sum;
        at(o).shared[kTwistedCombustion] -= bank.torsion_gain(k) * sum;
    }

    /// Compression and expansion without heat, exponent 1.3, per unit of intake pressure over indicated mean pressure.
    void add_compression(int o, const SliderCrank& crank, const EngineConfig& engine,
                         const ResponseBank& bank) noexcept {
        constexpr double kExponent = 1.3;
        constexpr int kStep_deg = 4;
        const double cycle_deg = engine.cycle_deg();
        std::complex<double> one = 0.0;
        for (int deg = -178; deg < 180; deg += kStep_deg) {
            const double angle = to_rad(deg);
            const double work = 0.5 * to_rad(kStep_deg) * crank.lever(angle) *
                                std::pow(crank.compression_ratio / crank.volume(angle), kExponent);
            // Negative before TDC, where std::polar takes no radius.
            one += work * std::polar(1.0, -2.0 * std::numbers::pi * at(o).per_cycle * deg / cycle_deg);
        }
        one *= seen_in_bins(o);
        for (int k = 0; k < firings_; ++k) {
            const double tdc_deg = engine.firing_tdc_deg[static_cast<std::size_t>(k)];
            const auto sum = static_cast<Complex>(
                one * std::polar(1.0, -2.0 * std::numbers::pi * at(o).per_cycle * tdc_deg / cycle_deg));
            at(o).shared[kCompression] += sum;
            at(o).shared[kTwistedCompression] += bank.torsion_gain(k) * sum;
        }
    }

    /// Torque of the reciprocating masses at constant speed, per unit of the crank's energy: T = -d/dangle (m (r w lever)^2 / 2).
    void add_inertia(int o, const SliderCrank& crank, const EngineConfig& engine, const ResponseBank& bank) noexcept {
        constexpr int kStep_deg = 4;
        const double per_cycle = at(o).per_cycle;
        const double turns_per_rad = per_cycle / cycle_revolutions_;
        std::complex<double> one = 0.0;
        for (int deg = 0; holds_wheel_error(o) && deg < 360; deg += kStep_deg) {
            const double lever = crank.lever(to_rad(deg));
            one +=
                cycle_revolutions_ * to_rad(kStep_deg) * lever * lever * std::polar(1.0, -turns_per_rad * to_rad(deg));
        }
        one *= std::complex<double>(0.0, -turns_per_rad * mass_share(engine)) * seen_in_bins(o);
        for (int k = 0; k < firings_; ++k) {
            const double tdc_rad = to_rad(engine.firing_tdc_deg[static_cast<std::size_t>(k)]);
            at(o).shared[kTwistedInertia] +=
                bank.torsion_gain(k) * static_cast<Complex>(one * std::polar(1.0, -turns_per_rad * tdc_rad));
        }
    }

    /// What differences of bins show of torque: a difference of two bins weighs it by a triangle around the later bin's beginning.
    [[nodiscard]] std::complex<double> seen_in_bins(int o) const noexcept {
        const double half_bin = std::numbers::pi * at(o).per_cycle / bins_;
        const double narrowing = std::sin(half_bin) / half_bin;
        return std::polar(narrowing * narrowing, 2.0 * half_bin);
    }

    bool even_ = true;
    int firings_ = 0;
    int bins_ = 0;
    int orders_ = 0;
    int cycle_revolutions_ = 2;
    std::array<Complex, kMaxBins> turn_{};
    std::array<Order, kMaxOrders> order_{};
};

}  // namespace kurbel
