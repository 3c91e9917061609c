// The Fourier components of one cycle's energy, from tooth intervals that a gap makes uneven.
#pragma once

#include <Eigen/Core>
#include <complex>

#include "kurbel/core/config.hpp"
#include "study/cycle_profiles.hpp"

namespace kurbel {

/// Energy phasors of each cycle at orders 1 to `highest` per cycle, by least squares over its intervals: so a gap leaks nothing.
/// Component m is the A in Re(A exp(i m x)), x the angle over the cycle; what the width of each interval softens is made up for.
class CyclePhasors {
  public:
    using Complex = std::complex<double>;

    CyclePhasors(const EngineConfig& engine, const CycleProfiles& profiles, int highest);

    /// Component `per_cycle` of a cycle whose energy rises by `rise` along it.
    [[nodiscard]] Complex at(const CycleProfile& cycle, int per_cycle, double rise) const;

  private:
    Eigen::MatrixXd solve_;
    Eigen::VectorXd slope_;
};

}  // namespace kurbel
