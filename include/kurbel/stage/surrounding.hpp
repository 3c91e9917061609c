// What may surround the crank: what hangs on it, when combustion comes, how soft it is, whether its wheel is true.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>

#include "kurbel/core/slider_crank.hpp"

namespace kurbel {

/// One of a list of surroundings that between them stand for all; each bends the orders of a pattern in its own way.
template <class Real>
class Surrounding {
  public:
    /// Numbers that far apart have the same hanging on the crank.
    static constexpr int kHanging = 29;

  private:
    struct Hanging {
        float resonance_hz;   ///< of gearbox or vehicle against the engine; 0: none
        float inertia_ratio;  ///< what swings against the engine, over the engine's inertia
        float damping;        ///< ratio
        float usual;          ///< prior probability
        float mode = 1;       ///< frequency of the crank's first torsion mode over the expected one
    };
    // Engineering ranges, from memory: a vehicle shuffles at 2 to 8 Hz, a large brake swings on its shaft at up to 15 Hz, both many times as heavy
    // as the engine; a test bed's brake is half to three times as heavy, on a shaft of 10 to 30 Hz. Dual-mass flywheel 8 to 15 Hz, by dry
    // friction damped up to a third; clutch 40 to 80 Hz. With the gearbox in neutral the dual-mass flywheel's second mass swings alone,
    // which is a third to all of the first one: by the root of one and their ratio that is at 1.4 to 2 times its 8 to 15 Hz (two masses on
    // a spring, any textbook on vibration). A crank may be as soft, or as stiff, as the last two.
    static constexpr std::array<Hanging, kHanging> kAll{
        {{0, 0, 0.08F, 0.40F},       {4, 8, 0.12F, 0.04F},      {7, 8, 0.12F, 0.04F},      {9, 8, 0.12F, 0.03F},
         {12, 8, 0.12F, 0.03F},      {14.5F, 8, 0.12F, 0.03F},  {10, 0.6F, 0.08F, 0.03F},  {14, 0.6F, 0.08F, 0.03F},
         {10, 0.6F, 0.3F, 0.03F},    {15, 0.6F, 0.3F, 0.03F},   {17, 0.3F, 0.1F, 0.03F},   {21, 0.3F, 0.1F, 0.03F},
         {26, 0.3F, 0.1F, 0.03F},    {32, 0.3F, 0.1F, 0.03F},   {19, 0.6F, 0.2F, 0.03F},   {36, 0.15F, 0.08F, 0.06F},
         {41, 0.15F, 0.08F, 0.06F},  {47, 0.15F, 0.08F, 0.06F}, {54, 0.15F, 0.08F, 0.06F}, {62, 0.15F, 0.08F, 0.06F},
         {71, 0.15F, 0.08F, 0.06F},  {82, 0.15F, 0.08F, 0.06F}, {12, 1.3F, 0.1F, 0.03F},   {15, 1.3F, 0.1F, 0.03F},
         {18.5F, 1.3F, 0.1F, 0.03F}, {23, 1.3F, 0.1F, 0.03F},   {28, 1.3F, 0.1F, 0.03F},   {0, 0, 0.08F, 0.10F, 0.65F},
         {0, 0, 0.08F, 0.10F, 1.5F}}};
    static constexpr int kBurns = 2;

  public:
    using Complex = std::complex<Real>;
    static constexpr int kCount = 2 * kBurns * kHanging;

    /// The first one is the likeliest.
    explicit constexpr Surrounding(int number) noexcept : number_(number) {}

    /// Number of the same one with the other kind of wheel.
    [[nodiscard]] constexpr int other_wheel() const noexcept { return (number_ + kCount / 2) % kCount; }
    [[nodiscard]] constexpr bool is_eccentric() const noexcept { return number_ >= kCount / 2; }

    /// Logarithm of its prior probability.
    [[nodiscard]] Real usual() const noexcept {
        constexpr Real kRarelyEccentric = Real(0.2);  // engineering range, from memory
        const Real wheel = is_eccentric() ? kRarelyEccentric : Real(1) - kRarelyEccentric;
        return std::log(wheel * static_cast<Real>(hanging().usual));
    }

    /// The crank's first torsion mode where `expected` is expected, cycles a revolution.
    [[nodiscard]] Real mode(Real expected) const noexcept { return expected * static_cast<Real>(hanging().mode); }

    /// Near the mode and above it nothing is known of an order.
    [[nodiscard]] static bool is_shut(Real order, Real mode) noexcept {
        return order * order > Real(0.5) * mode * mode;
    }

    /// Answer of the sensor end through the first mode over the rigid answer, per unit gain, below resonance:
    /// order^2 / (mode^2 - order^2). Near and above it nothing is known well enough: see is_shut().
    [[nodiscard]] static Real twisting(Real order, Real mode) noexcept {
        const Real ratio2 = order * order / (mode * mode);
        return ratio2 / std::max(Real(1) - ratio2, Real(0.3));
    }

    /// Motion of the crank with something sprung on it, over that of the free crank, at an order (cycles a revolution): two inertias, a
    /// spring and a damper (any textbook on vibration).
    [[nodiscard]] Complex driveline(Real order, Real speed_rpm) const noexcept {
        const Hanging& on = hanging();
        if (on.resonance_hz <= 0.0F) return Real(1);
        const Real ratio = order * speed_rpm / Real(60) / static_cast<Real>(on.resonance_hz);
        const Complex spring(Real(1), Real(2) * static_cast<Real>(on.damping) * ratio);
        const Real square = ratio * ratio;
        return (spring / (Real(1) + static_cast<Real>(on.inertia_ratio)) - square) / (spring - square);
    }

    /// How far off that may be, as a share of it, for what really hangs on the crank lies between those that are listed: by a tenth in frequency.
    [[nodiscard]] Real driveline_error(Real order, Real speed_rpm) const noexcept {
        constexpr Real kBetween = Real(0.1);
        if (hanging().resonance_hz <= 0.0F) return Real(0);
        const Complex apart =
            driveline(order, speed_rpm * (Real(1) + kBetween)) - driveline(order, speed_rpm * (Real(1) - kBetween));
        return std::sqrt(Real(0.25) * std::norm(apart) / std::norm(driveline(order, speed_rpm)));
    }

    /// By what combustion is turned at an order where it comes later than expected.
    [[nodiscard]] Complex burn(Real order) const noexcept {
        constexpr double kLate_deg = 20.0;
        const bool late = number_ / kHanging % kBurns != 0;
        return std::polar(Real(1), late ? -static_cast<Real>(to_rad(kLate_deg)) * order : Real(0));
    }

    /// Variance of one component of a pattern's order, over the expected work of a firing, by what the wheel is off. `energy`: half the speed
    /// squared over that work. Tooth errors of 0.15 degrees rms and run-out (engineering ranges, from memory): an angle error of amplitude e
    /// at this order bends the energy by 2 order e, its difference over one bin by order x bin more.
    [[nodiscard]] Real wheel_variance(Real order, Real energy, int teeth, Real bin_rad, int bins) const noexcept {
        constexpr Real kTeeth_rad = Real(0.0026);
        constexpr Real kTrue_deg = Real(0.06);
        constexpr Real kEccentric_deg = Real(0.25);
        const Real run_out_rad = (is_eccentric() ? kEccentric_deg : kTrue_deg) * static_cast<Real>(to_rad(1.0));
        const Real error = order <= Real(1) ? run_out_rad : kTeeth_rad * std::sqrt(Real(2) / static_cast<Real>(teeth));
        const Real half_bins = Real(0.5) * static_cast<Real>(bins);
        const Real amplitude = Real(2) * order * error * energy * order * bin_rad * half_bins;
        return Real(0.5) * amplitude * amplitude;
    }

  private:
    [[nodiscard]] constexpr const Hanging& hanging() const noexcept {
        return kAll[static_cast<std::size_t>(number_ % kHanging)];
    }

    int number_;
};

}  // namespace kurbel
