// Every cylinder's compression from the motion that it forces on a crank which only the starter turns.
#pragma once

#include <array>
#include <vector>

#include <Eigen/Core>

#include "kurbel/core/config.hpp"
#include "study/cranked_cycles.hpp"

namespace kurbel {

/// What the fit says, cylinders in firing order.
///
/// Energy balance, cycle by cycle, d/dtheta (J w^2 / 2) = sum of gas torques + starter less friction (facts: Kiencke and Nielsen,
/// Automotive Control Systems, from memory), all per unit of inertia. Gas: p = trapped (V_bottom / V)^n exp(-leak X), X the
/// integral of V_c/V psi dt since the intake closed, psi the flow function of a nozzle towards ambient (1 where choked; Heywood 1988,
/// app. C, from memory); both ways, so a cylinder that leaks gives back less than it took, one that fills badly gives back all.
/// Starter less friction: a_cycle + b w + c w^2, a anew in every cycle: so a battery that fades, or a starter that warms, takes
/// nothing from the cylinders. Beside them: the exponent n (1.3 +- 0.05, Heywood 1988, sec. 9.2), where TDC stands (+- 1.5
/// degrees) and each tooth's own error (+- 0.15 degrees: stamped wheels, from memory), each with that prior.
struct CompressionFit {
    int cylinders = 0;
    int cycles = 0;    ///< used
    int left_out = 0;  ///< cycles that fit nothing
    std::array<double, kMaxCylinders>
        trapped{};                             ///< bar absolute at the bottom; a ratio only, where inertia is not known
    std::array<double, kMaxCylinders> leak{};  ///< 1/s: leak area times flow speed over clearance volume
    std::array<double, kMaxCylinders> exposure{};  ///< mean X at TDC, s
    double exponent = 1.3;
    double tdc_deg = 0.0;  ///< firing TDC behind the declared one
    double ambient_bar = 1.013;
    double scatter = 0.0;  ///< standard deviation of one tooth interval about the model, share of its energy
    double stretch = 1.0;  ///< by which neighbouring intervals' likeness widens every variance
    double mean_rpm = 0.0;
    Eigen::MatrixXd covariance;  ///< of trapped (all), leak (all), exponent
    std::vector<double> fitted;  ///< energy of each interval of the middle cycle, by the model
    std::size_t shown = 0;       ///< that cycle
};

/// Gauss and Newton on all cycles at once. `half_deg` is 0, or 360 to try the other revolution. `cycles` must not be empty.
[[nodiscard]] CompressionFit fit_compression(const Config& config, const std::vector<CrankedCycle>& cycles,
                                             double half_deg);

/// Gauge pressure at TDC in bar, cylinder at place k of the firing order, for given parameters.
[[nodiscard]] double tdc_gauge_bar(const CompressionFit& fit, double bottom_over_clearance, int k, double trapped,
                                   double leak, double exponent);

}  // namespace kurbel
