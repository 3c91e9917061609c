// How the crank's energy within a cycle follows the mean energy while no fuel burns.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <vector>

namespace kurbel::discover {

/// Cycles of nearly one speed; waves as in SpectrumPoint.
struct MotoredBin {
    double energy = 0.0;  ///< mean, rad^2/s^2
    int cycles = 0;
    std::vector<std::complex<double>> wave;
    std::vector<double> variance;  ///< of the real or imaginary part, of chance alone
};

/// Cycles without fuel, fitted by a straight line over the mean energy, wave by wave. What gas does is the same at every speed; wheel
/// errors and reciprocating masses grow with the energy: the line parts them. `middle` is the phasor at the mean energy, `rise` the
/// slope times that energy; their errors are independent. Waves as in SpectrumPoint.
struct MotoredLine {
    int cycles = 0;
    double energy = 0.0;  ///< mean, rad^2/s^2
    std::vector<std::complex<double>> middle;
    std::vector<std::complex<double>> rise;
    std::vector<double> middle_variance;  ///< of the real or imaginary part, of chance alone
    std::vector<double> rise_variance;
    std::vector<MotoredBin>
        bins;  ///< all cycles, from slow to fast: where crank or driveline swing, no straight line fits

    [[nodiscard]] bool found() const { return cycles > 0; }
    /// What would be seen at this energy, straight between the bins beside it, or beyond the last two of them. Needs a bin.
    [[nodiscard]] MotoredBin at(double energy_at) const;
};

/// One cycle: mean energy, and cosine and minus sine of each wave in turn.
struct MotoredCycle {
    double energy = 0.0;
    Eigen::VectorXd waves;
};

/// The line through the slowest cycles, and bins of all. Not found where there are too few.
[[nodiscard]] MotoredLine motored_line(std::vector<MotoredCycle> cycles);

}  // namespace kurbel::discover
