// The learned pattern at one operating point, as the search for dead cylinders looks at it.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/expected_work.hpp"
#include "kurbel/stage/residual_history.hpp"
#include "kurbel/stage/response_bank.hpp"

namespace kurbel {

/// An operating point at which a pattern was learned. Work is over inertia, rad^2/s^2.
template <class Real>
struct LearnedAt {
    std::array<Real, kMaxBins> difference{};  ///< energy difference per bin over the expected work of one firing
    Real energy = 0;                          ///< mean half speed squared over the expected work
    Real speed_rpm = 0;
    Real intake = 0;  ///< intake pressure over the indicated mean pressure of a healthy firing
    Real doubt = 0;   ///< variance of the pattern over the scatter of single cycles
};

/// One learned cycle pattern at one operating point, and at the fastest one that it was learned at.
template <class Real>
struct LearnedPattern : LearnedAt<Real> {
    LearnedAt<Real> fastest{};    ///< energy 0: none that tells more
    Real mode_per_rev = 0;        ///< first torsion mode, cycles a revolution
    bool sized = false;           ///< the expected work is known, not guessed
    Real torque_size = 1;         ///< times the expected work, if the load channel tells torque rather than charge
    Real scale = 1;               ///< of what is tried to what was expected before
    Real work_error = Real(0.4);  ///< of the expected work of all cylinders, standard deviation
};

/// Where a pattern was learned: the operating point, and the load that work is expected by.
template <class Real>
struct LearnedPoint {
    PatternPoint<Real> at{};
    Real load = 0;
};

/// Over the expected work of a firing at `point`.
template <class Real>
void read_pattern(const ResidualHistory<Real>& residuals, const ExpectedWork<Real>& expected,
                  const LearnedPoint<Real>& point, LearnedAt<Real>& learned) noexcept {
    const Real work = expected.at(point.load);
    for (int b = 0; b < residuals.grid().bins; ++b)
        learned.difference[static_cast<std::size_t>(b)] = residuals.pattern().at(b, point.at) / work;
    learned.energy = point.at.energy / work;
    learned.speed_rpm = std::sqrt(Real(2) * point.at.energy) * Real(30 / std::numbers::pi);
    learned.intake = expected.intake_over_work(point.load);
    learned.doubt = residuals.pattern().doubt(point.at);
}

/// The pattern at `point`, and at the fastest one where speed tells more than twice as much of the wheel.
template <class Real>
[[nodiscard]] LearnedPattern<Real> learned_pattern(const ResidualHistory<Real>& residuals,
                                                   const ExpectedWork<Real>& expected, const ResponseBank& bank,
                                                   const LearnedPoint<Real>& point,
                                                   const LearnedPoint<Real>& fastest) noexcept {
    LearnedPattern<Real> pattern;
    read_pattern(residuals, expected, point, pattern);
    if (fastest.at.energy * expected.at(point.load) > Real(2) * point.at.energy * expected.at(fastest.load))
        read_pattern(residuals, expected, fastest, pattern.fastest);
    pattern.mode_per_rev = static_cast<Real>(bank.mode_per_rev());
    pattern.sized = expected.known(residuals.load_told());
    if (pattern.sized) pattern.torque_size = expected.if_torque_is_told(point.load);
    return pattern;
}

}  // namespace kurbel
