// Which revolution of a four-stroke cycle is the firing one, told by the crank's own motion: for engines without a cam.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"

namespace kurbel {

/// True where the firing angles moved by 360 degrees are the same set (four-stroke I4, I6, even V6, V8, ...): then no
/// motion of the crank tells one revolution from the other, and each firing has two candidates. False for two-strokes.
[[nodiscard]] inline bool symmetric_under_360(const EngineConfig& engine) noexcept;

/// Place in the firing order of the cylinder that fires 360 degrees after the one at `place`; -1 where none does.
[[nodiscard]] inline int partner_under_360(const EngineConfig& engine, int place) noexcept {
    constexpr double kSameDeg = 0.5;
    if (engine.strokes != 4) return -1;
    const double wanted = std::fmod(engine.firing_tdc_deg[static_cast<std::size_t>(place)] + 360.0, 720.0);
    for (int i = 0; i < engine.cylinders; ++i) {
        const double off = std::fabs(engine.firing_tdc_deg[static_cast<std::size_t>(i)] - wanted);
        if (std::fmin(off, 720.0 - off) <= kSameDeg) return i;
    }
    return -1;
}

inline bool symmetric_under_360(const EngineConfig& engine) noexcept {
    for (int place = 0; place < engine.cylinders; ++place)
        if (partner_under_360(engine, place) < 0) return false;
    return true;
}

/// Torque of all cylinders over one engine cycle, for whatever is typical: the shape that the phase is told by.
/// Polytropic compression and expansion (exponent 1.3, Heywood 1988, sec. 9.2) from half an atmosphere, closed from 140
/// degrees before to 130 after firing TDC, suction before that; where fired, heat by Wiebe over 60 degrees with half
/// of it at 10 degrees, enough for 9 bar mean pressure per unit of charge (engineering values, from memory).
class CycleTorque {
  public:
    static constexpr int kSteps = 720;  ///< one a degree, from cylinder 1's firing TDC

    CycleTorque(const EngineConfig& engine, bool fired) noexcept {
        std::array<double, kSteps> one{};
        one_cylinder(SliderCrank::of(engine), fired, one);
        for (int i = 0; i < engine.cylinders; ++i) {
            const int tdc = static_cast<int>(std::lround(engine.firing_tdc_deg[static_cast<std::size_t>(i)]));
            for (int deg = 0; deg < kSteps; ++deg)
                torque_[static_cast<std::size_t>((deg + tdc) % kSteps)] += one[static_cast<std::size_t>(deg)];
        }
    }

    [[nodiscard]] double operator[](int deg) const noexcept { return torque_[static_cast<std::size_t>(deg)]; }

  private:
    static void one_cylinder(const SliderCrank& crank, bool fired, std::array<double, kSteps>& torque) noexcept {
        constexpr double kGamma = 1.3;
        constexpr double kCharge_bar = 0.5;
        constexpr double kMep_bar = 9.0;
        constexpr int kClosing_deg = -140;
        constexpr int kOpening_deg = 130;
        constexpr double kDuration_deg = 60.0;
        constexpr double kStart_deg = 10.0 - 0.5175 * kDuration_deg;  // half burnt at 0.5175 of the duration
        const double closed = kCharge_bar * std::pow(crank.volume(to_rad(kClosing_deg)), kGamma);
        std::array<double, kSteps> pulse{};
        double heat_term = 0.0;
        double work = 0.0;
        for (int deg = -360; deg < 360; ++deg) {
            const double middle = deg + 0.5;
            const double lever = crank.lever(to_rad(middle));
            const double volume = crank.volume(to_rad(middle));
            const auto at = static_cast<std::size_t>((deg + kSteps) % kSteps);
            double gauge_bar = 0.0;  // exhaust at the pressure below the piston
            if (deg < -180 || deg < kClosing_deg) gauge_bar = kCharge_bar - 1.0;
            if (deg >= kClosing_deg && deg < kOpening_deg) {
                gauge_bar = closed * std::pow(volume, -kGamma) - 1.0;
                const double heat =
                    wiebe((deg + 1 - kStart_deg) / kDuration_deg) - wiebe((deg - kStart_deg) / kDuration_deg);
                heat_term += std::pow(volume, kGamma - 1.0) * heat;
                pulse[at] = heat_term * std::pow(volume, -kGamma) * lever;
                work += to_rad(1.0) * pulse[at];
            }
            torque[at] = gauge_bar * lever;
        }
        if (!fired) return;
        // Piston travel is two crank radii: mean pressure times two is the work in the same unit.
        const double scale = 2.0 * kMep_bar * kCharge_bar / work;
        for (int i = 0; i < kSteps; ++i)
            torque[static_cast<std::size_t>(i)] += scale * pulse[static_cast<std::size_t>(i)];
    }

    std::array<double, kSteps> torque_{};
};

/// Tells whether bins are counted from the right revolution, for engines whose firing angles moved by 360 degrees are
/// another set (single, I3, I5, odd-fire twins and sixes).
///
/// Method: of the energies y in N bins of one cycle, the difference between the two revolutions, u[b] = y[b] - y[b +
/// N/2], holds the half orders alone: wheel error, reciprocating inertia and everything else that repeats each
/// revolution drop out, and so does any linear trend in its steps a[b] = u[b + 1] - u[b], which are torque. These
/// steps are compared with what compression and combustion at the assumed firing TDCs would give, as the cosine of the
/// angle between the two vectors: under the wrong revolution it changes sign. Steps are local, so a dead cylinder
/// takes its own pulse away and leaves the others': the cosine falls, its sign stays.
///
/// Decision: mean cosine over cycles against its own scatter (Student), turned into a normal deviate (Wallace 1959,
/// value from memory); decided beyond kDecided, which one tail of the normal law passes with 5e-7, so that hundreds of
/// looks at the running mean stay below 1e-4; and only where the mean is at least kLeastCosine, since a small but
/// steady one may come from what the model does not know. Torsion of the crank turns the sign of orders above its
/// first mode; so cycles count only where the firing order lies below kSafeHz, half of the lowest usual first mode
/// (150 to 500 Hz in cars and lorries, engineering range from memory). Undecided stays undecided. Cycles are forgotten
/// slowly, so a later contradiction is heard.
///
/// No allocation; one object per stream; a copy is a snapshot.
template <class Real>
class PhaseFinder {
  public:
    enum class Answer : std::uint8_t {
        undecided,  ///< not enough seen, or nothing to be seen
        right,      ///< bins are counted from the right revolution
        flipped     ///< they are one revolution off
    };

    static constexpr int kMostBins = 48;  ///< bins of one cycle
    static constexpr double kDecided = 4.9;
    static constexpr double kLeastCosine = 0.2;
    static constexpr double kSafeHz = 75.0;

    /// `config` was validated; `bins` even bins of one cycle, the first beginning at cylinder 1's assumed firing TDC.
    /// Two-strokes, engines that are symmetric under 360 degrees, and grids of fewer than 6 bins are never decided.
    void configure(const Config& config, int bins) noexcept {
        bins_ = bins;
        able_ = config.engine.strokes == 4 && !symmetric_under_360(config.engine) && bins >= 6 && bins <= kMostBins &&
                bins % 2 == 0;
        if (able_) {
            make_template(CycleTorque(config.engine, true), fired_);
            make_template(CycleTorque(config.engine, false), motored_);
            const double order = std::fmax(1.5, 0.5 * config.engine.cylinders);
            const double highest_rad_s = 2.0 * std::numbers::pi * kSafeHz / order;
            highest_energy_ = static_cast<Real>(0.5 * highest_rad_s * highest_rad_s);
        }
        reset();
    }

    void reset() noexcept {
        expected_place_ = 0;
        restart_statistics();
    }

    /// Takes the energy (half of speed squared, rad^2/s^2) of the bin at `place`, 0 to bins - 1, in order; `connected`
    /// = false where the bin does not follow the one before: then all is forgotten. `fuel_cut`: this bin's combustion
    /// was cut off. NaN energies make their cycle count for nothing.
    void push(int place, Real energy, bool connected, bool fuel_cut) noexcept {
        if (!able_) return;
        // After a loss the revolutions are counted anew, perhaps from the other half: nothing learned before holds.
        if (!connected) restart_statistics();
        if (!connected || place != expected_place_) expected_place_ = 0;
        if (place != expected_place_) return;
        energy_[static_cast<std::size_t>(place)] = energy;
        cut_bins_ = place == 0 ? 0 : cut_bins_;
        cut_bins_ += fuel_cut ? 1 : 0;
        if (++expected_place_ < bins_) return;
        expected_place_ = 0;
        if (energy > highest_energy_) return;
        // A cycle that was cut in part says neither.
        if (cut_bins_ != 0 && cut_bins_ != bins_) return;
        take_cycle(cut_bins_ == 0 ? fired_ : motored_);
    }

    [[nodiscard]] Answer answer() const noexcept {
        if (std::fabs(mean_) < kLeastCosine || std::fabs(deviate()) < kDecided) return Answer::undecided;
        return mean_ > 0.0 ? Answer::right : Answer::flipped;
    }

    /// Mean cosine, -1 to 1; positive speaks for the assumed revolution.
    [[nodiscard]] double mean_cosine() const noexcept { return mean_; }
    /// Cycles seen (slowly forgotten).
    [[nodiscard]] double cycles() const noexcept { return weight_; }
    /// The mean in standard errors, as a normal deviate; 0 with fewer than 4 cycles.
    [[nodiscard]] double deviate() const noexcept {
        if (weight_ < 4.0) return 0.0;
        const double freedom = weight_ - 1.0;
        const double variance = std::fmax(square_ / freedom, kLeastScatter * kLeastScatter);
        const double t_squared = mean_ * mean_ * weight_ / variance;
        const double deviate =
            (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0) * std::sqrt(freedom * std::log1p(t_squared / freedom));
        return mean_ > 0.0 ? deviate : -deviate;
    }

    /// The answer was followed: what was `flipped` is now counted rightly.
    void follow() noexcept {
        expected_place_ = 0;
        mean_ = std::fabs(mean_);
    }

  private:
    static constexpr double kForget = 1.0 / 64.0;  ///< weight of a new cycle once many were seen
    static constexpr double kLeastScatter = 0.05;  ///< cosines cannot be trusted better than this

    using Steps = std::array<Real, kMostBins / 2>;

    void restart_statistics() noexcept {
        weight_ = 0.0;
        mean_ = 0.0;
        square_ = 0.0;
    }

    /// Steps of the half-order part of what `torque` does to the bin energies, scaled to length 1.
    void make_template(const CycleTorque& torque, Steps& steps) const noexcept {
        std::array<double, kMostBins> energy{};
        double mean = 0.0;
        for (int deg = 0; deg < CycleTorque::kSteps; ++deg) mean += torque[deg] / CycleTorque::kSteps;
        double level = 0.0;
        for (int deg = 0; deg < CycleTorque::kSteps; ++deg) {
            // Half of the step's work has been done in its middle.
            const double work = torque[deg] - mean;
            energy[static_cast<std::size_t>(deg * bins_ / CycleTorque::kSteps)] += level + 0.5 * work;
            level += work;
        }
        std::array<double, kMostBins / 2> raw{};
        double square = 0.0;
        for (int b = 0; b + 1 < bins_ / 2; ++b) {
            raw[static_cast<std::size_t>(b)] = half_order(energy.data(), b + 1) - half_order(energy.data(), b);
            square += raw[static_cast<std::size_t>(b)] * raw[static_cast<std::size_t>(b)];
        }
        for (int b = 0; b + 1 < bins_ / 2; ++b)
            steps[static_cast<std::size_t>(b)] =
                static_cast<Real>(raw[static_cast<std::size_t>(b)] / std::sqrt(square));
    }

    template <class Number>
    [[nodiscard]] Number half_order(const Number* energy, int bin) const noexcept {
        return energy[bin] - energy[bin + bins_ / 2];
    }

    void take_cycle(const Steps& steps) noexcept {
        Real product = 0;
        Real square = 0;
        for (int b = 0; b + 1 < bins_ / 2; ++b) {
            const Real step = half_order(energy_.data(), b + 1) - half_order(energy_.data(), b);
            product += step * steps[static_cast<std::size_t>(b)];
            square += step * step;
        }
        if (!(square > Real(0))) return;  // nothing moves, or not a number
        const double cosine = static_cast<double>(product / std::sqrt(square));
        // Running mean and sum of squares; old cycles fade once there are many.
        const double keep = weight_ * kForget < 1.0 ? 1.0 : 1.0 - kForget;
        weight_ = keep * weight_ + 1.0;
        const double off = cosine - mean_;
        mean_ += off / weight_;
        square_ = keep * square_ + off * (cosine - mean_);
    }

    Steps fired_{};    ///< what is expected of a cycle with combustion
    Steps motored_{};  ///< and of one without
    std::array<Real, kMostBins> energy_{};
    Real highest_energy_ = 0;
    double weight_ = 0.0;
    double mean_ = 0.0;
    double square_ = 0.0;
    std::int32_t bins_ = 0;
    std::int32_t expected_place_ = 0;
    std::int32_t cut_bins_ = 0;
    bool able_ = false;
};

}  // namespace kurbel
