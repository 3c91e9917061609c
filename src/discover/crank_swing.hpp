// How far crank and driveline may bend a wave of gas or masses: errors of the models that look for TDC without fuel.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace kurbel::discover {

/// Shares of a wave's own size. The frequencies are usual ones (from memory, facts.md 5.4); the sizes are judged.
struct CrankSwing {
    double torsion = 0.0;  ///< by which torsion makes it larger or smaller
    double turned = 0.0;   ///< by which torsion's damping turns it: across the wave
    double near = 0.0;     ///< 1 at the driveline's own frequency and below, falls above

    double ratio = 0.0;      ///< (f / f0)^2
    double resonance = 0.0;  ///< 1 where clutch, gearbox, shafts and tyres have their own frequencies, falls above
    double log_hz = 0.0;

    /// Wave `h` (0 is the first) at mean energy `energy`.
    CrankSwing(std::size_t h, double energy) {
        const double frequency_hz = hz(h, energy);
        // Below its frequency f0 of 150 to 500 Hz the crank answers with (f / f0)^2 / (1 - (f / f0)^2) more than a stiff one would.
        ratio = std::pow(frequency_hz / 260.0, 2);
        log_hz = std::log(frequency_hz);
        resonance = std::min(1.0, std::pow(60.0 / frequency_hz, 3));
        torsion = ratio / (1.0 - std::min(ratio, 0.6));
        // Damping of 1 to 3 % of the critical one, near resonance.
        turned = kTurned * torsion;
        // Clutch and gearbox swing at 40 to 80 Hz.
        near = std::min(1.0, std::pow(50.0 / frequency_hz, 2));
    }

    [[nodiscard]] double drive_along() const { return 0.12; }
    [[nodiscard]] double drive_across() const { return 0.25 * near; }
    /// Change of what gas does with the speed, which a line over the energy takes for masses.
    [[nodiscard]] double drive_change() const { return 0.2 * near * near; }

    static constexpr double kTurned = 0.15;  ///< see `turned`

    /// Covariance of the shares by which torsion bends a wave at two speeds: a power series in the ratio, whose first two terms differ from
    /// engine to engine and between the crank's ends.
    [[nodiscard]] double twist_with(const CrankSwing& other) const {
        const double product = ratio * other.ratio;
        return product + kSecond * product * product;
    }
    /// Of clutch and gearbox: below and above their own frequencies a wave changes little, between them it may turn round; frequencies that
    /// lie near each other are bent alike.
    [[nodiscard]] double drive_with(const CrankSwing& other, double size) const {
        const double apart = (log_hz - other.log_hz) / kAlike;
        return size * size * (resonance * other.resonance * std::exp(-0.5 * apart * apart) + kFar * kFar);
    }

    [[nodiscard]] static double hz(std::size_t h, double energy) {
        return 0.5 * static_cast<double>(h + 1) * std::sqrt(2.0 * energy) / (2.0 * std::numbers::pi);
    }

  private:
    static constexpr double kSecond = 2.0;
    static constexpr double kFar = 0.3;
    static constexpr double kAlike = 0.2;
};

}  // namespace kurbel::discover
