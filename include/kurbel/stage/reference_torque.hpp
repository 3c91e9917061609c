// What one lost combustion does to the energy bins: the physical responses that detection starts from.
#pragma once

#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/core/crank_pins.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/cycle_grid.hpp"

namespace kurbel {

/// Crank degrees from the beginning to the end of combustion, and its begin where half of the heat is released at `centre_deg` (Wiebe a = 5,
/// m = 2: half burnt at 0.5175 of the duration).
inline constexpr double kBurn_deg = 60.0;
[[nodiscard]] inline double burn_start_deg(double centre_deg) noexcept { return centre_deg - 0.5175 * kBurn_deg; }

/// Share of one combustion's work done by each crank angle after firing TDC, 0 to 1, on a grid of 2 degrees from -90.
/// Single zone: the pressure that heat adds obeys d(dp) = (g - 1)/V dQ - g dp dV/V with g = 1.3, which is linear, so the
/// share does not depend on load; heat by Wiebe over 60 degrees; blow-down at 140 degrees.
/// Source: Heywood 1988, ch. 9 (from memory).
class CombustionWork {
  public:
    static constexpr int kStep_deg = 2;
    static constexpr int kFirst_deg = -90;
    static constexpr int kSteps = 115;  // to blow-down

    /// `centre_deg`: crank degrees after TDC where half of the heat is released.
    explicit CombustionWork(const SliderCrank& crank, double centre_deg) noexcept {
        constexpr double kGamma = 1.3;
        const double start_deg = burn_start_deg(centre_deg);
        double heat_term = 0.0;  // integral of V^(g-1) dQ
        double done = 0.0;
        for (int i = 0; i < kSteps; ++i) {
            const double deg = kFirst_deg + i * kStep_deg;
            const double middle_rad = to_rad(deg + 0.5 * kStep_deg);
            const double volume = crank.volume(middle_rad);
            const double heat = wiebe((deg + kStep_deg - start_deg) / kBurn_deg) - wiebe((deg - start_deg) / kBurn_deg);
            heat_term += std::pow(volume, kGamma - 1.0) * heat;
            const double step = heat_term * std::pow(volume, -kGamma) * crank.lever(middle_rad);
            done += step;
            pulse_[static_cast<std::size_t>(i)] = static_cast<float>(step);
        }
        for (float& pulse : pulse_) pulse /= static_cast<float>(done);
    }

    /// Work share done in step `i`, from kFirst_deg + i * kStep_deg on; nothing after blow-down.
    [[nodiscard]] double pulse(int i) const noexcept {
        return i < kSteps ? static_cast<double>(pulse_[static_cast<std::size_t>(i)]) : 0.0;
    }

  private:
    std::array<float, kSteps> pulse_{};
};

/// First torsion mode of a crank, seen by the sensor: how strongly torque on each cylinder's throw shows.
/// Generic shares of inertia (damper 8 %, throws together 32 %, flywheel 60 %) and equal springs: engineering ranges, from
/// memory; what they get wrong is learned from the engine later.
[[nodiscard]] inline std::array<double, kMaxCylinders> first_mode_gain(const EngineConfig& engine,
                                                                       SensorAt at) noexcept {
    constexpr int kMaxNodes = kMaxCylinders + 2;
    using Matrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kMaxNodes, kMaxNodes>;
    using Vector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kMaxNodes, 1>;
    using SubVector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kMaxNodes - 1, 1>;
    const CrankPins crank(engine);
    const int pins = crank.count();
    const int nodes = pins + 2;
    Vector inertia = Vector::Constant(nodes, 0.32 / pins);
    inertia[0] = 0.08;
    inertia[nodes - 1] = 0.60;
    // A chain couples neighbours alone: stiffness over the roots of both inertias has three diagonals.
    Vector diagonal = Vector::Zero(nodes);
    SubVector beside = SubVector::Zero(nodes - 1);
    for (int i = 0; i + 1 < nodes; ++i) {
        diagonal[i] += 1.0 / inertia[i];
        diagonal[i + 1] += 1.0 / inertia[i + 1];
        beside[i] = -1.0 / std::sqrt(inertia[i] * inertia[i + 1]);
    }
    Eigen::SelfAdjointEigenSolver<Matrix> solver;
    solver.computeFromTridiagonal(diagonal, beside);
    // Eigenvectors have unit length in the scaled frame, so the modal mass is one.
    const Vector mode = solver.eigenvectors().col(1).cwiseQuotient(inertia.cwiseSqrt());
    const double at_sensor = at == SensorAt::flywheel ? mode[nodes - 1] : mode[0];
    std::array<double, kMaxCylinders> gain{};  // in firing order
    for (int i = 0; i < engine.cylinders; ++i) {
        const int cylinder = engine.firing_order[static_cast<std::size_t>(i)];
        gain[static_cast<std::size_t>(i)] = at_sensor * mode[crank.of(cylinder)];
    }
    return gain;
}

// 2 % is the mode's own damping (engineering range, from memory). The mean over frequencies 6 % to either side, half of the way
// to the next hypothesis, fades as sin(x) / x: by another 2 % within four turns of the mode, 6 % within eight. Of 3, 5, 7 and
// 10 % the last three find about as many misfires on drawn engines, the first clearly fewer.
inline constexpr double kFadingMean = 0.07;

/// Writes the response of `bins` differences of bin energy, from `first_bin` bins after TDC on (negative: before), to one
/// combustion lost: rigid crank where `mode_per_rev` is 0, else the part of one torsion mode of that many cycles a revolution
/// per unit gain, which fades by `damping` a radian: usually as it is on average where that number is known to some per cent. `offset` is how
/// many bins the TDC lies behind the beginning of its bin. Unit: the lost work.
template <class Real>
void lost_combustion(const CombustionWork& work, double bin_deg, int first_bin, int bins, double offset,
                     double mode_per_rev, Real* response, double damping = kFadingMean) noexcept {
    const double step_rad = to_rad(CombustionWork::kStep_deg) * mode_per_rev;
    const std::complex<double> turn = std::exp(std::complex<double>(-damping * step_rad, step_rad));
    std::complex<double> state = 0.0;
    // Mean of the energy over each of bins + 1 bins; its differences are the response.
    double mean = 0.0;
    double previous = 0.0;
    int samples = 0;
    int bin = 0;
    const double begin_deg = (first_bin - offset) * bin_deg;
    for (int i = 0; bin <= bins; ++i) {
        state = state * turn + work.pulse(i);
        const double deg = CombustionWork::kFirst_deg + (i + 0.5) * CombustionWork::kStep_deg - begin_deg;
        if (deg < 0.0) continue;
        if (deg >= (bin + 1) * bin_deg) {
            const double value = samples > 0 ? mean / samples : previous;
            if (bin > 0) response[bin - 1] = static_cast<Real>(previous - value);
            previous = value;
            mean = 0.0;
            samples = 0;
            ++bin;
        }
        mean += state.real();
        ++samples;
    }
}

}  // namespace kurbel
