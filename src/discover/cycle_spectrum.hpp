// What the crank's energy does within an engine cycle, by order and operating point.
#pragma once

#include <complex>
#include <vector>

#include "discover/lines.hpp"
#include "discover/motored_line.hpp"
#include "discover/wheel_search.hpp"
#include "kurbel/discover/discovery.hpp"

namespace kurbel::discover {

/// Energy over inertia is y = speed^2 / 2. Wave h of a cycle of two revolutions (order h/2) fits y = Re(Y exp(j h/2 angle)), angle from
/// place 0 of the revolution that Decoder calls half 0.
struct SpectrumPoint {
    double energy = 0.0;  ///< mean y, rad^2/s^2
    int cycles = 0;
    bool motored = false;                      ///< without fuel
    std::vector<std::complex<double>> phasor;  ///< [h - 1]
    std::vector<double> variance;              ///< of its real or imaginary part, of chance alone
};

struct CycleSpectrum {
    int waves = 0;                      ///< highest h that the wheel's teeth tell
    std::vector<bool> told;             ///< [h - 1]: the gap does not hide it
    bool phase_known = false;           ///< a cam told which revolution is which
    std::vector<SpectrumPoint> points;  ///< those without fuel first, at most six
    std::vector<SpectrumPoint> fired;   ///< those with fuel that have most cycles, at most three
    int cycles = 0;
    MotoredLine motored;  ///< all cycles without fuel
    /// [h - 1]: what the wheel's own errors make of a wave's real or imaginary part at unit energy, standard deviation; 0 at half orders.
    std::vector<double> wheel_error;
    double turn_deg = 360.0;       ///< after which the wheel looks the same, where nothing tells which of these it is
    bool angles_measured = false;  ///< the teeth stand unevenly: the engine's mean swing is in their angles
};

/// Differences between points in which what grows with the energy cancels: the wheel's own errors and the torque of reciprocating
/// masses. What is left is gas: a point less (its energy over the reference's) times the reference, which is the fastest point without
/// fuel, else the fastest. Empty where all points are alike. `share` is what is left of gas that is the same at both.
struct Contrast {
    SpectrumPoint point;
    double share = 1.0;
    bool motored = false;  ///< both without fuel
};
[[nodiscard]] std::vector<Contrast> contrasts(const CycleSpectrum& spectrum);

/// Cycles of nearly one speed (steps of 22 %) with and without fuel, averaged. Runs the edges through a Decoder for the wheel that was
/// found; where that gives no teeth, because the wheel looks the same after part of a turn, through the whole revolutions of the search.
[[nodiscard]] CycleSpectrum cycle_spectrum(const EdgeLines& lines, const Lines& unwrapped, const WheelSearch& wheel,
                                           const CamFinding& cam);

}  // namespace kurbel::discover
