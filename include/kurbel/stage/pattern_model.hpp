// A learned pattern's orders as the sum of what may be behind them: each cylinder's losses, what all share, and noise.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cylinder_orders.hpp"
#include "kurbel/stage/learned_pattern.hpp"
#include "kurbel/stage/orders_fit.hpp"
#include "kurbel/stage/surrounding.hpp"

namespace kurbel {

/// The losses of the cylinders, each with a small healthy spread, plus the combustion and compression that all cylinders share, as a rigid
/// crank and the first torsion mode show them, plus wheel error and the scatter of the cycles that were learned from. Wheel error lies at
/// integer orders, so half orders are trusted. What hangs on the crank bends all of that: see Surrounding.
template <class Real>
class PatternModel {
  public:
    using Around = Surrounding<Real>;
    using Complex = std::complex<Real>;
    /// A pattern's component at each order, and at the last place that of the first order where the engine was fastest.
    using Projected = std::array<Complex, CylinderOrders::kMaxOrders + 1>;
    using Model = OrdersModel<Real>;

    void begin(const EngineConfig& engine, const WheelConfig& wheel, const CycleGrid& grid, const ResponseBank& bank,
               int first_bin, int size) noexcept {
        teeth_ = std::max(wheel.teeth, 2);
        orders_.begin(engine, grid, bank, first_bin, size);
        first_ = -1;
        for (int o = 0; o < orders_.count(); ++o)
            if (order(o) == Real(1)) first_ = o;
        for (int k = 0; k < grid.firings; ++k) {
            gain_[static_cast<std::size_t>(k)] = bank.torsion_gain(k);
            largest_gain_ = std::max(largest_gain_, std::fabs(bank.torsion_gain(k)));
        }
        restart();
    }

    /// Forgets how cycles scatter, keeps the engine.
    void restart() noexcept {
        tracked_ = 0;
        scatter_.fill(0);
    }

    [[nodiscard]] const CylinderOrders& orders() const noexcept { return orders_; }
    /// Cycles whose scatter was followed.
    [[nodiscard]] int tracked() const noexcept { return tracked_; }

    /// Follows how much each order scatters from cycle to cycle. `residual`: one cycle less the pattern; `expected`: work of one
    /// firing.
    void track(const std::array<Real, kMaxBins>& residual, Real expected) noexcept {
        // The first cycle still holds the whole pattern.
        if (tracked_++ == 0 || (tracked_ > kEachCycle && tracked_ % kLaterEvery != 0)) return;
        const float share = 1.0F / static_cast<float>(std::min(tracked_, 50));
        const Real scale = Real(0.5) / (expected * expected);
        for (int o = 0; o < orders_.count(); ++o) {
            float& scatter = scatter_[static_cast<std::size_t>(o)];
            scatter += share * (static_cast<float>(scale * std::norm(orders_.project(residual, o))) - scatter);
        }
    }

    [[nodiscard]] Projected project(const LearnedPattern<Real>& pattern) const noexcept {
        Projected projected{};
        for (int o = 0; o < orders_.count(); ++o)
            projected[static_cast<std::size_t>(o)] = orders_.project(pattern.difference, o);
        if (compares(pattern)) projected.back() = orders_.project(pattern.fastest.difference, first_);
        return projected;
    }

    [[nodiscard]] Model model(const LearnedPattern<Real>& pattern, const Projected& projected,
                              int around) const noexcept {
        const bool compares_speeds = compares(pattern);
        const int more = compares_speeds ? 2 : 0;
        Model m(2 * orders_.count() + more, orders_.firings() + CylinderOrders::kSharedParts + more);
        const Around there(around);
        for (int o = 0; o < orders_.count(); ++o) {
            const Complex seen = projected[static_cast<std::size_t>(o)];
            m.data[2 * o] = seen.real();
            m.data[2 * o + 1] = seen.imag();
            m.weight[2 * o] = m.weight[2 * o + 1] =
                Real(1) / variance(o, pattern, pattern.mode_per_rev, pattern.scale, size_of(seen), there,
                                   !(compares_speeds && o == first_));
            fill_columns(o, 2 * o, pattern, pattern.mode_per_rev, there, m.shape);
        }
        if (compares_speeds) add_fastest(pattern, projected.back(), there, m);
        Side mean = Side::Zero(m.shape.cols());
        shared_prior(pattern, mean, m.prior);
        m.data -= m.shape.lazyProduct(mean);
        return m;
    }

    /// Logarithm of the density of a pattern in this surrounding where all are as expected, but for what the fit explains. Of an order at which
    /// nothing is known any size is alike, to a factor.
    [[nodiscard]] Real surprise(const Model& m, const LearnedPattern<Real>& pattern, const Projected& projected,
                                int around) const noexcept {
        Real sum = 0;
        for (int o = 0; o < orders_.count(); ++o)
            sum += Around::is_shut(order(o), Around(around).mode(pattern.mode_per_rev))
                       ? Real(-2) * std::log1p(size_of(projected[static_cast<std::size_t>(o)]))
                       : std::log(m.weight[2 * o]);
        // Another row, and the run-out, of which the fit does not count what depends on its prior alone.
        if (compares(pattern)) sum += std::log(m.weight[m.weight.size() - 1]) + std::log(m.prior[m.prior.size() - 1]);
        return sum;
    }

    /// Whether entry o says something of this pattern, where nothing soft hangs on the crank.
    [[nodiscard]] bool is_open(int o, const LearnedPattern<Real>& pattern) const noexcept {
        return !Around::is_shut(order(o), pattern.mode_per_rev);
    }

  private:
    using Side = typename Model::Side;
    static constexpr Real kUnmodelled = Real(0.05);  // of one loss, at any order
    static constexpr int kEachCycle = 64;            // at first each cycle's scatter is looked at, later one in a few
    static constexpr int kLaterEvery = 4;
    // Healthy cylinder-to-cylinder spread of work (engineering range, from memory).
    static constexpr Real kSpread = Real(0.06);

    /// An entry's cycles a revolution.
    [[nodiscard]] Real order(int o) const noexcept { return static_cast<Real>(orders_.per_revolution(o)); }

    /// Whether two speeds tell the wheel from the cylinders at the first order, where only its run-out is as large as they are.
    [[nodiscard]] bool compares(const LearnedPattern<Real>& pattern) const noexcept {
        return first_ >= 0 && pattern.fastest.energy > Real(0);
    }

    /// The first order once more, at the fastest speed, and the wheel's run-out in both, which bends the energy in proportion to it.
    void add_fastest(const LearnedPattern<Real>& pattern, Complex seen, const Around& there, Model& m) const noexcept {
        const int row = 2 * orders_.count();
        const int column = orders_.firings() + CylinderOrders::kSharedParts;
        m.shape.bottomRows(2).setZero();
        m.shape.rightCols(2).setZero();
        m.data[row] = seen.real();
        m.data[row + 1] = seen.imag();
        const Real mode_per_rev = pattern.mode_per_rev * pattern.speed_rpm / pattern.fastest.speed_rpm;
        m.weight[row] = m.weight[row + 1] =
            Real(1) / variance(first_, pattern.fastest, mode_per_rev, pattern.scale, size_of(seen), there, false);
        fill_columns(first_, row, pattern.fastest, mode_per_rev, there, m.shape);
        // What all share is of another size there: it was counted as where the pattern is.
        const auto rescale = [&](int part, Real factor) { m.shape.col(orders_.firings() + part).tail(2) *= factor; };
        rescale(CylinderOrders::kCompression, pattern.fastest.intake / pattern.intake);
        rescale(CylinderOrders::kTwistedCompression, pattern.fastest.intake / pattern.intake);
        rescale(CylinderOrders::kTwistedInertia, pattern.fastest.energy / pattern.energy);
        for (int part = 0; part < 2; ++part) {
            m.shape(2 * first_ + part, column + part) = pattern.energy;
            m.shape(row + part, column + part) = pattern.fastest.energy;
            m.prior[column + part] =
                Real(1) /
                there.wheel_variance(Real(1), Real(1), teeth_, static_cast<Real>(orders_.bin_rad()), orders_.bins());
        }
    }

    /// What all cylinders share is known to some extent: means, and inverse variances of the deviations from them.
    void shared_prior(const LearnedPattern<Real>& pattern, Side& mean, Side& prior) const noexcept {
        const int first = orders_.firings();
        const auto inverse = [](Real deviation) { return Real(1) / (deviation * deviation); };
        prior.head(first).setConstant(inverse(kSpread));
        // Inertia shares, and so the mode's part at the sensor, are known to a factor of two or so, and so is the work.
        mean[first + CylinderOrders::kCombustion] = Real(1);
        prior[first + CylinderOrders::kCombustion] = inverse(pattern.work_error);
        mean[first + CylinderOrders::kCompression] = pattern.intake;
        prior[first + CylinderOrders::kCompression] = inverse(Real(0.5) * pattern.intake);
        mean[first + CylinderOrders::kTwistedCombustion] = Real(1);
        prior[first + CylinderOrders::kTwistedCombustion] = inverse(Real(1.6));
        mean[first + CylinderOrders::kTwistedCompression] = pattern.intake;
        prior[first + CylinderOrders::kTwistedCompression] = inverse(Real(1.6) * pattern.intake);
        mean[first + CylinderOrders::kTwistedInertia] = pattern.energy;
        prior[first + CylinderOrders::kTwistedInertia] = inverse(Real(1.6) * pattern.energy);
    }

    /// What a work, or its loss, makes of entry o at operating point `at`, in two rows from `row` on.
    void fill_columns(int o, int row, const LearnedAt<Real>& at, Real mode_per_rev, const Around& there,
                      typename Model::Shape& f) const noexcept {
        const Real twist = Around::twisting(order(o), there.mode(mode_per_rev));
        const Complex driveline = there.driveline(order(o), at.speed_rpm);
        const Complex late = driveline * there.burn(order(o));
        const auto put = [&f, row](int column, Complex value) {
            f(row, column) = value.real();
            f(row + 1, column) = value.imag();
        };
        const int firings = orders_.firings();
        for (int k = 0; k < firings; ++k)
            put(k, late * wide(orders_.lost(o, k)) *
                       (Real(1) - static_cast<Real>(gain_[static_cast<std::size_t>(k)]) * twist));
        put(firings + CylinderOrders::kCombustion, late * wide(orders_.shared(o, CylinderOrders::kCombustion)));
        put(firings + CylinderOrders::kCompression, driveline * wide(orders_.shared(o, CylinderOrders::kCompression)));
        put(firings + CylinderOrders::kTwistedCombustion,
            -twist * late * wide(orders_.shared(o, CylinderOrders::kTwistedCombustion)));
        put(firings + CylinderOrders::kTwistedCompression,
            -twist * driveline * wide(orders_.shared(o, CylinderOrders::kTwistedCompression)));
        put(firings + CylinderOrders::kTwistedInertia,
            -twist * driveline * wide(orders_.shared(o, CylinderOrders::kTwistedInertia)));
    }

    /// Far from where a square would overflow; and complex numbers' own would be one more function for the core to call.
    [[nodiscard]] static Real size_of(Complex value) noexcept { return std::sqrt(std::norm(value)); }
    [[nodiscard]] static Complex wide(CylinderOrders::Complex value) noexcept {
        return {static_cast<Real>(value.real()), static_cast<Real>(value.imag())};
    }

    /// Variance of one component of the projection at entry o, which is `seen` large; with what the `wheel` may be off, if asked.
    [[nodiscard]] Real variance(int o, const LearnedAt<Real>& at, Real mode_per_rev, Real scale, Real seen,
                                const Around& there, bool wheel) const noexcept {
        const Real mode = there.mode(mode_per_rev);
        if (Around::is_shut(order(o), mode)) return Real(1e6);
        Real sum = at.doubt * scale * scale * static_cast<Real>(scatter_[static_cast<std::size_t>(o)]);
        if (wheel && orders_.holds_wheel_error(o))
            sum +=
                there.wheel_variance(order(o), at.energy, teeth_, static_cast<Real>(orders_.bin_rad()), orders_.bins());
        // Burn timing differs by 7 degrees or so from what is assumed: each loss is bent by that, so that the square grows with their number.
        const Real bent = Real(0.05) + Real(0.12) * std::min(order(o), Real(4));
        const Real losses = seen * size_of(wide(orders_.lost(o, 0)));
        // The mode's frequency and shape are known to a quarter at best.
        const Real twisted = Real(0.3) * Around::twisting(order(o), mode) * static_cast<Real>(largest_gain_);
        const Real between = there.driveline_error(order(o), at.speed_rpm);
        return sum + (bent * bent + between * between) * losses + twisted * twisted + kUnmodelled * kUnmodelled;
    }

    int teeth_ = 2;
    int first_ = -1;  // entry of the first order; -1 where there is none
    int tracked_ = 0;
    float largest_gain_ = 0;
    std::array<float, CylinderOrders::kMaxOrders> scatter_{};  // variance of one component, cycle to cycle
    std::array<float, kMaxCylinders> gain_{};                  // torsion, of each place
    CylinderOrders orders_{};
};

}  // namespace kurbel
