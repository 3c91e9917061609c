// How much charge the cylinders have, by the crank's own motion, where no channel tells the load.
#pragma once

#include <algorithm>
#include <array>
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

namespace kurbel {

/// Gas of all cylinders adds up at the wave of the firings, and the work of compression and that of combustion both go with the charge
/// (Heywood 1988, ch. 2 and 15, from memory). What the wheel is off stands there as well, in proportion to speed squared, and torsion makes
/// the wave larger: the less it can tell, the nearer the answer stays to the usual load. Of engines that fire evenly and three times a
/// cycle at least. (channel/crank_load.hpp asks the same of a whole recording, with hindsight: what is the wheel's it fits over all cycles.)
template <class Real>
class FiringWave {
  public:
    void begin(const HealthyCycle& healthy, const CycleGrid& grid, int teeth) noexcept {
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
    }

    /// Whether this engine's wave says anything.
    [[nodiscard]] bool shows() const noexcept { return shows_; }

    /// Relative charge over the cycle before the newest of `bins`, at which a firing begins. `work`: of one firing at full useful charge over
    /// inertia; `mode_per_rev`: first torsion mode. Misfires take from the wave in the interval behind them, so that of the intervals
    /// between firings the one counts that three quarters do not exceed.
    [[nodiscard]] Real charge(const BinHistory<Real>& bins, Real work, Real mode_per_rev) const noexcept {
        const int length = bins_ / firings_;
        std::array<float, kMaxCylinders> each{};
        std::array<float, kMaxBins> interval{};
        const float scale = static_cast<float>(firings_) / static_cast<float>(work);
        for (int k = 0; k < firings_; ++k) {
            const std::int64_t first = bins.newest() - bins_ + k * length;
            for (int j = 0; j < length; ++j)
                interval[static_cast<std::size_t>(j)] = static_cast<float>(bins.raw(first + j));
            const Complex seen =
                scale * wave(interval.data()) + static_cast<float>(ExpectedWork<Real>::kNoWorkLoad) * burn_;
            each[static_cast<std::size_t>(k)] =
                (seen.real() * gas_.real() + seen.imag() * gas_.imag()) / std::norm(gas_);
        }
        const auto upper = each.begin() + (3 * firings_ + 3) / 4 - 1;
        std::nth_element(each.begin(), upper, each.begin() + firings_);
        const Real energy = bins.mean_energy(bins.newest()) / work;
        const Real off = static_cast<Real>(*upper) - kUsual;
        const Real believed = kUsual + off * kScatter / (kScatter + error(energy, mode_per_rev));
        return std::clamp(believed, kLeast, kMost);
    }

  private:
    using Complex = std::complex<float>;
    static constexpr Real kUsual = ExpectedWork<Real>::kUnknownLoad;
    static constexpr Real kScatter = Real(0.0625);  // variance of loads: a quarter of full charge
    static constexpr Real kLeast = Real(-0.5);
    static constexpr Real kMost = Real(2);

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

    /// Variance of a charge by what wheel and torsion add to the wave.
    [[nodiscard]] Real error(Real energy, Real mode_per_rev) const noexcept {
        constexpr Real kNothing = Real(1e6);
        constexpr Real kTwist = Real(0.3);  // of what torsion adds, the share that is not known
        constexpr Real kNear = Real(0.7);   // square of the order over that of the mode, from which on nothing is known
        const Real order = static_cast<Real>(2.0F * std::numbers::pi_v<float> * static_cast<float>(firings_) /
                                             (static_cast<float>(bins_) * bin_rad_));
        if (order * order > kNear * mode_per_rev * mode_per_rev) return kNothing;
        const Real wheel =
            Surrounding<Real>(0).wheel_variance(order, energy, teeth_, static_cast<Real>(bin_rad_), bins_);
        const Real twist = kTwist * Surrounding<Real>::twisting(order, mode_per_rev);
        // The wheel's part does not scatter, it stands there all the time: its whole amplitude counts, not its mean over phases.
        return Real(2) * wheel / static_cast<Real>(std::norm(gas_)) + twist * twist;
    }

    bool shows_ = false;
    int firings_ = 0;
    int bins_ = 0;
    int teeth_ = 2;
    float bin_rad_ = 0;
    Complex turn_{};  // of the wave from bin to bin
    Complex burn_{};  // wave of all combustions, per unit of their work
    Complex gas_{};   // wave of everything, per unit of charge
};

}  // namespace kurbel
