// A coil with a magnet before the teeth: its voltage over wheel angle, and where that voltage crosses zero.
//
// To first order in the height of the teeth the field over the wheel obeys Laplace's equation, so that a wave of the profile
// fades with exp(-2 pi d / wavelength) over the distance d (the spacing loss of magnetic recording: Wallace, The reproduction of
// magnetically recorded signals, Bell System Technical Journal 30, 1951; from memory). That is the same as smearing the
// profile with the Lorentzian d / (pi (x^2 + d^2)); a pole of width b averages over b. A tooth of width w and height h at x = 0 then
// gives the flux
//     h/b integral over the pole of [atan((x + w/2)/d) - atan((x - w/2)/d)] / pi dx,
// and the voltage is the sum over the teeth's fluxes, derived by time: it rises with speed. Teeth beside a gap lack a neighbour's
// flux, so that their zero crossings move away from the gap and their half-waves grow. That nothing beside d widens the field of a
// real magnet is not so; `spread_mm` stands for it.
#pragma once

#include <vector>

#include "kurbel/simulate/sensor_settings.hpp"

namespace kurbel::simulate {

/// A wheel's teeth as the coil sees them, over crank angle.
class InductiveWheel {
  public:
    /// One tooth before its field is computed.
    struct Tooth {
        double centre_rad = 0.0;  ///< rising from tooth to tooth, all within one turn
        double width_rad = 0.0;
        double height = 1.0;
        double gap_mm = 1.0;
    };

    /// What one tooth's pulse comes to; voltages are volts per rad/s.
    struct Pulse {
        bool present = false;   ///< false: swallowed by its neighbours' flux, no zero crossing of its own
        double edge_rad = 0.0;  ///< falling zero crossing
        double slope = 0.0;     ///< volts per rad/s and rad there, negative
        double ahead = 0.0;     ///< peak of the half-wave before it
        double behind = 0.0;    ///< depth of the half-wave after it, positive
    };

    InductiveWheel() = default;

    /// `ordinary` is the tooth whose half-wave has volts_at_1000_rpm at 1000 rpm.
    InductiveWheel(const SensorSettings& sensor, std::vector<Tooth> teeth, std::size_t ordinary);

    [[nodiscard]] const std::vector<Pulse>& pulses() const noexcept { return pulses_; }

    /// Volts per rad/s at wheel angle `angle_rad`, by the twelve teeth on either side of tooth `tooth`.
    [[nodiscard]] double volts_near(std::size_t tooth, double angle_rad) const noexcept;

    /// The same by the teeth around the nearest one; any angle.
    [[nodiscard]] double volts_at(double angle_rad) const noexcept;

  private:
    static constexpr int kNeighbours = 12;

    [[nodiscard]] double of_tooth(const Tooth& tooth, double from_centre_mm) const noexcept;
    [[nodiscard]] double highest(std::size_t tooth, double from_rad, double to_rad, double sign) const noexcept;
    [[nodiscard]] double space_rad(std::size_t tooth) const noexcept;
    [[nodiscard]] Pulse find(std::size_t tooth) const noexcept;

    double radius_mm_ = 1.0;
    double pole_mm_ = 1.0;
    double spread_mm_ = 0.0;
    double volts_ = 1.0;  ///< per rad/s and unit of slope
    std::vector<Tooth> teeth_;
    std::vector<Pulse> pulses_;
};

}  // namespace kurbel::simulate
