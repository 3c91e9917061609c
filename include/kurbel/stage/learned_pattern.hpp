// The learned pattern at one operating point, as the search for dead cylinders looks at it.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/expected_work.hpp"
#include "kurbel/stage/residual_history.hpp"
#include "kurbel/stage/response_bank.hpp"

namespace kurbel {

/// One learned cycle pattern at one operating point. Work is over inertia, rad^2/s^2.
template <class Real>
struct LearnedPattern {
    std::array<Real, kMaxBins> difference{};  ///< energy difference per bin over the expected work of one firing
    Real energy = 0;                          ///< mean half speed squared over the expected work
    Real speed_rpm = 0;
    Real intake = 0;              ///< intake pressure over the indicated mean pressure of a healthy firing
    Real doubt = 0;               ///< variance of the pattern over the scatter of single cycles
    Real mode_per_rev = 0;        ///< first torsion mode, cycles a revolution
    bool sized = false;           ///< the expected work is known, not guessed
    Real torque_size = 1;         ///< times the expected work, if the load channel tells torque rather than charge
    Real scale = 1;               ///< of what is tried to what was expected before
    Real work_error = Real(0.4);  ///< of the expected work of all cylinders, standard deviation
};

/// Over the expected work of a firing in the middle of the cycle that begins at bin `first` and has operating point `mean`.
template <class Real>
[[nodiscard]] LearnedPattern<Real> learned_pattern(const ResidualHistory<Real>& residuals,
                                                   const ExpectedWork<Real>& expected, const ResponseBank& bank,
                                                   std::int64_t first, const PatternPoint<Real>& mean) noexcept {
    const CycleGrid& grid = residuals.grid();
    const std::int64_t middle = first + grid.bins / 2;
    const Real load = residuals.charge_load(middle);
    const Real work = expected.at(load);
    LearnedPattern<Real> pattern;
    for (int b = 0; b < grid.bins; ++b)
        pattern.difference[static_cast<std::size_t>(b)] = residuals.pattern().at(b, mean) / work;
    pattern.energy = mean.energy / work;
    pattern.speed_rpm = residuals.speed_around(middle);
    pattern.intake = ExpectedWork<Real>::intake_share(expected.charge(load));
    pattern.doubt = residuals.pattern().doubt(mean);
    pattern.mode_per_rev = static_cast<Real>(bank.mode_per_rev());
    pattern.sized = expected.known(residuals.load_told());
    if (pattern.sized) pattern.torque_size = expected.if_torque_is_told(load);
    return pattern;
}

}  // namespace kurbel
