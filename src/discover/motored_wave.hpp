// One wave of the motored cycles, weighed by what the model of gas and masses is wrong by.
#pragma once

#include <complex>
#include <vector>

#include "discover/cycle_spectrum.hpp"
#include "discover/layouts.hpp"
#include "discover/motored_form.hpp"

namespace kurbel::discover {

/// Mass share that engines are built with: reciprocating mass times squared crank radius, all cylinders, over the whole inertia
/// (masses and inertias of facts.md 5.4, from motorcycles to lorries; from memory).
constexpr double kUsualMassShare = 0.018;

/// Sums of one axis over the bins that a wave is seen in, its phasor turned by an angle: x = p real + q imaginary.
struct WaveAxis {
    WaveSums sums;                ///< what does not depend on the angle
    std::complex<double> one;     ///< weights between ones and the real, the imaginary parts
    std::complex<double> energy;  ///< the same with the energies
    double real_real = 0.0;
    double real_imaginary = 0.0;
    double imaginary_imaginary = 0.0;

    [[nodiscard]] WaveSums turned(double p, double q) const {
        WaveSums at = sums;
        at.one_seen = p * one.real() + q * one.imag();
        at.energy_seen = p * energy.real() + q * energy.imag();
        at.seen_seen = p * p * real_real + 2.0 * p * q * real_imaginary + q * q * imaginary_imaginary;
        return at;
    }
};

/// One wave in the bins of MotoredLine, weighed by the inverses of its covariances. Torsion and driveline make a wave larger or smaller, or
/// turn it round, hardly by a part of a circle: errors lie along the wave; those of wheel and chance on either axis.
struct MotoredWave {
    std::size_t h = 0;  ///< 0 is the first
    std::size_t bins = 0;
    WaveAxis along;
    WaveAxis across;
    double log_det = 0.0;  ///< of the covariances, mean of both
};

/// By how much an engine's crank and driveline may bend waves, at most.
struct Bending {
    double drive = 0.0;  ///< share, where clutch and gearbox have their own frequencies
    double coupled =
        0.0;  ///< share of the largest wave, times torsion: pistons couple the waves where one of them meets it
};

/// Which waves are used: told by the wheel and below where the crank's torsion may turn them round.
[[nodiscard]] std::vector<std::size_t> usable_waves(const CycleSpectrum& spectrum);

/// `coherence` is |sum over cylinders|^2 / cylinders^2, `mass_wave` one cylinder's wave of masses.
[[nodiscard]] MotoredWave weighed(const CycleSpectrum& spectrum, std::size_t h, double largest_gas,
                                  const Layout& layout, double coherence, double mass_wave, const Bending& bending);

/// Largest wave of gas: what is left at no speed.
[[nodiscard]] double largest_gas(const MotoredLine& line, const std::vector<std::size_t>& used);

/// How far one cylinder's wave `h` falls behind that of the firings: with the square of the order, less below it.
[[nodiscard]] double falls(const Layout& layout, std::size_t h);

}  // namespace kurbel::discover
