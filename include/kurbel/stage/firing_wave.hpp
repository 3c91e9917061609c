// How much charge the cylinders have, by the crank's own motion, or where a channel tells that, how much work there is.
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
#include "kurbel/stage/bin_history.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/expected_work.hpp"
#include "kurbel/stage/healthy_cycle.hpp"
#include "kurbel/stage/surrounding.hpp"
#include "kurbel/stage/usual_engine.hpp"

namespace kurbel {

/// Gas of all cylinders adds up at the wave of the firings, and the work of compression and that of combustion both go with the charge
/// (Heywood 1988, ch. 2 and 15, from memory). What the wheel is off stands there as well, in proportion to speed squared, and torsion makes
/// the wave larger: the less it can tell, the nearer the answer stays to the usual load, or the less likely is any other size. Of engines that fire evenly and three times a
/// cycle at least. (channel/crank_load.hpp asks the same of a whole recording, with hindsight: what is the wheel's it fits over all cycles.)
template <class Real>
class FiringWave {
  public:
    void begin(const HealthyCycle& healthy, const CycleGrid& grid, int teeth, const EngineConfig& engine) noexcept {
        unthrottled_ = static_cast<Real>(unthrottled_share(engine));
        no_fuel_ = healthy.diesel ? 0.0F : kNoWork;
        firings_ = grid.firings;
        bins_ = grid.bins;
        teeth_ = std::max(teeth, 2);
        bin_rad_ = static_cast<float>(to_rad(grid.bin_deg));
        shows_ = firings_ >= 3 && bins_ % firings_ == 0;
        for (int k = 0; shows_ && k < firings_; ++k)
            shows_ = grid.tdc_bin[static_cast<std::size_t>(k)] == k * (bins_ / firings_);
        if (!shows_) return;
        turn_ = std::polar(
            1.0F, -2.0F * std::numbers::pi_v<float> * static_cast<float>(firings_) / static_cast<float>(bins_));
        const auto wave_of = [this](const std::array<float, kMaxBins>& cycle) {
            Complex sum = 0;
            for (int k = 0; k < firings_; ++k) sum += wave(cycle.data() + k * (bins_ / firings_));
            return sum;
        };
        burn_ = wave_of(healthy.combustion);
        gas_ = burn_ + wave_of(healthy.compression) / static_cast<float>(ExpectedWork<Real>::kFullPressure_bar);
        pistons_ = wave_of(healthy.inertia);
        piston_error_ = static_cast<float>(mass_share_error(engine)) * std::sqrt(std::norm(pistons_));
    }

    /// Whether this engine's wave says anything.
    [[nodiscard]] bool shows() const noexcept { return shows_; }

    /// Relative charge over the cycle before bin `end`, at which a firing begins. `work`: of one firing at full useful charge over
    /// inertia; `mode_per_rev`: first torsion mode.
    [[nodiscard]] Real charge(const BinHistory<Real>& bins, std::int64_t end, Real work,
                              Real mode_per_rev) const noexcept {
        const Real seen = share_of(bins, end, work, gas_, kNoWork * burn_);
        const Real energy = bins.mean_energy(end) / work;
        const Real off = seen - kUsual;
        const Real believed = kUsual + off * kScatter / (kScatter + error(energy, mode_per_rev, kTwist));
        return std::clamp(believed, kLeast, kMost);
    }

    /// What the wave is of the one that is expected where the load is told.
    struct Size {
        Real ratio = 1;
        Real variance = 0;     ///< by what is not gas in it
        Real unthrottled = 1;  ///< what the ratio is where the air is not throttled, and the work as expected
    };
    /// Over the cycle before bin `end`, at which a firing begins; the relative charge of that cycle is `charge`.
    [[nodiscard]] Size size(const BinHistory<Real>& bins, std::int64_t end, Real work, Real charge,
                            Real mode_per_rev) const noexcept {
        const auto filled = static_cast<float>(charge);
        const Real energy = bins.mean_energy(end) / work;
        // Whoever is wrong about the inertia is so about the pistons' share of it, too: they go back to where they were.
        const Complex pistons = static_cast<float>(energy) * pistons_;
        const Complex wanted = filled * gas_ - kNoWork * burn_ + pistons;
        const Complex unthrottled = std::max(filled, 1.0F) * (gas_ - burn_) + (filled - no_fuel_) * burn_ + pistons;
        Size size;
        size.ratio = share_of(bins, end, work, wanted, pistons);
        size.variance = error(energy, mode_per_rev, Real(1)) * static_cast<Real>(std::norm(gas_) / std::norm(wanted));
        size.unthrottled = static_cast<Real>(along(unthrottled, wanted));
        return size;
    }

    /// Log-likelihood of such a wave if there is `times` the work that is expected.
    [[nodiscard]] Real evidence(const Size& seen, Real times) const noexcept {
        const auto density = [&](Real mean) {
            // Errors of the model multiply, what is no gas adds up: the logarithmic mean of both is what makes one into the other.
            const Real size = std::fabs(mean);
            const Real least = std::max(mean > Real(0) ? seen.ratio : -seen.ratio, kFaintest * size);
            const Real error = kModelError * logarithmic_mean(least, size);
            const Real variance = error * error + seen.variance;
            return std::exp(Real(-0.5) * (seen.ratio - mean) * (seen.ratio - mean) / variance) / std::sqrt(variance);
        };
        return std::log((Real(1) - unthrottled_) * density(times) + unthrottled_ * density(times * seen.unthrottled) +
                        Real(1e-12));
    }

  private:
    using Complex = std::complex<float>;
    static constexpr Real kUsual = ExpectedWork<Real>::kUnknownLoad;
    static constexpr Real kScatter = Real(0.0625);  // variance of loads: a quarter of full charge
    static constexpr Real kLeast = Real(-0.5);
    static constexpr Real kMost = Real(2);
    static constexpr Real kTwist = Real(0.3);      // of what torsion adds, the share that is not known
    static constexpr Real kFaintest = Real(0.01);  // of a wave that is expected, for its logarithm
    static constexpr Real kModelError =
        Real(0.3);  // of the wave: breathing, burn, a load channel's scale (engineering ranges, from memory)
    static constexpr float kNoWork = static_cast<float>(ExpectedWork<Real>::kNoWorkLoad);

    /// The wave over the cycle before bin `end`, and `added` to it, in units of `whole`. Misfires take from the wave in the interval behind them,
    /// so that of the intervals between firings the one counts that three quarters do not exceed.
    [[nodiscard]] Real share_of(const BinHistory<Real>& bins, std::int64_t end, Real work, Complex whole,
                                Complex added) const noexcept {
        const int length = bins_ / firings_;
        std::array<float, kMaxCylinders> each{};
        std::array<float, kMaxBins> interval{};
        const float scale = static_cast<float>(firings_) / static_cast<float>(work);
        for (int k = 0; k < firings_; ++k) {
            const std::int64_t first = end - bins_ + k * length;
            for (int j = 0; j < length; ++j)
                interval[static_cast<std::size_t>(j)] = static_cast<float>(bins.raw(first + j));
            const Complex seen = scale * wave(interval.data()) + added;
            each[static_cast<std::size_t>(k)] = along(seen, whole);
        }
        const auto upper = each.begin() + (3 * firings_ + 3) / 4 - 1;
        std::nth_element(each.begin(), upper, each.begin() + firings_);
        return static_cast<Real>(*upper);
    }

    /// Part of `seen` that has the phase of `whole`, as a share of it.
    [[nodiscard]] static float along(Complex seen, Complex whole) noexcept {
        return (seen.real() * whole.real() + seen.imag() * whole.imag()) / std::norm(whole);
    }
    [[nodiscard]] static Real logarithmic_mean(Real a, Real b) noexcept {
        const Real off = b / a - Real(1);
        return std::fabs(off) < Real(0.01) ? a * (Real(1) + Real(0.5) * off) : (b - a) / std::log(b / a);
    }

    /// Component at the wave of the firings of one interval between two of them.
    [[nodiscard]] Complex wave(const float* differences) const noexcept {
        float real = 0;
        float imag = 0;
        Complex turned = 1;
        for (int j = 0; j < bins_ / firings_; ++j) {
            real += differences[j] * turned.real();
            imag += differences[j] * turned.imag();
            turned = {turned.real() * turn_.real() - turned.imag() * turn_.imag(),
                      turned.real() * turn_.imag() + turned.imag() * turn_.real()};
        }
        return {real, imag};
    }

    /// Variance of a charge by what wheel, torsion and pistons add to the wave that is not known.
    /// `twist_unknown`: share of what torsion adds that is not known.
    [[nodiscard]] Real error(Real energy, Real mode_per_rev, Real twist_unknown) const noexcept {
        constexpr Real kNothing = Real(1e6);
        constexpr Real kNear = Real(0.7);  // square of the order over that of the mode, from which on nothing is known
        const Real order = static_cast<Real>(2.0F * std::numbers::pi_v<float> * static_cast<float>(firings_) /
                                             (static_cast<float>(bins_) * bin_rad_));
        if (order * order > kNear * mode_per_rev * mode_per_rev) return kNothing;
        const Real wheel =
            Surrounding<Real>(0).wheel_variance(order, energy, teeth_, static_cast<Real>(bin_rad_), bins_);
        const Real twist = twist_unknown * Surrounding<Real>::twisting(order, mode_per_rev);
        // The wheel's part does not scatter, it stands there all the time: its whole amplitude counts, not its mean over phases.
        const Real pistons = energy * static_cast<Real>(piston_error_);
        return (Real(2) * wheel + pistons * pistons) / static_cast<Real>(std::norm(gas_)) + twist * twist;
    }

    bool shows_ = false;
    int firings_ = 0;
    int bins_ = 0;
    int teeth_ = 2;
    float bin_rad_ = 0;
    float no_fuel_ = 0;       // load without work where nothing throttles the air
    float piston_error_ = 0;  // of their part, per unit of energy
    Real unthrottled_ = 0;    // probability that nothing throttles the air
    Complex turn_{};          // of the wave from bin to bin
    Complex burn_{};          // wave of all combustions, per unit of their work
    Complex gas_{};           // wave of everything, per unit of charge
    Complex pistons_{};       // and of their masses, per unit of energy
};

}  // namespace kurbel
