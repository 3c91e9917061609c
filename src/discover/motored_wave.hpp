// One wave of the motored cycles, weighed by what the model of gas and masses is wrong by.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <vector>

#include "discover/cycle_spectrum.hpp"
#include "discover/layouts.hpp"

namespace kurbel::discover {

/// Mass share that engines are built with: reciprocating mass times squared crank radius, all cylinders, over the whole inertia
/// (masses and inertias of facts.md 5.4, from motorcycles to lorries; from memory).
constexpr double kUsualMassShare = 0.018;

/// The two figures (middle, rise) of MotoredLine, and the inverses of their covariances. Torsion and driveline make a wave larger or smaller,
/// or turn it round, hardly by a part of a circle: errors lie along the wave; those of wheel and chance on either axis.
struct MotoredWave {
    std::size_t h = 0;  ///< 0 is the first
    std::complex<double> middle;
    std::complex<double> rise;
    Eigen::Matrix2d along;
    Eigen::Matrix2d across;
    double log_det = 0.0;  ///< of the covariances, mean of both
};

/// Which waves are used: told by the wheel and below where the crank's torsion may turn them round.
[[nodiscard]] std::vector<std::size_t> usable_waves(const CycleSpectrum& spectrum);

/// `coherence` is |sum over cylinders|^2 / cylinders^2, `mass_wave` one cylinder's wave of masses.
[[nodiscard]] MotoredWave weighed(const MotoredLine& line, std::size_t h, double largest_gas, int teeth,
                                  const Layout& layout, double coherence, double mass_wave);

/// Largest wave of gas: what is left at no speed.
[[nodiscard]] double largest_gas(const MotoredLine& line, const std::vector<std::size_t>& used);

/// How far one cylinder's wave `h` falls behind that of the firings: with the square of the order, less below it.
[[nodiscard]] double falls(const Layout& layout, std::size_t h);

}  // namespace kurbel::discover
