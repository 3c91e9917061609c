// Torque of one cylinder on the crank, taken apart into orders of the crank: what is expected before any data.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/reference_torque.hpp"
#include "kurbel/stage/usual_engine.hpp"

namespace kurbel {

/// Phasors of torque over the engine's inertia, rad/s^2, counted from the cylinder's firing TDC: torque is twice the real part of the
/// sum of phasor e^(j n angle) over the orders n = 0.5, 1, 1.5, ... What gas does is taken at full charge.
///
/// All figures are engineering ranges from memory.
class TorqueOrders {
  public:
    using Phasor = std::complex<double>;
    static constexpr int kTwice = 24;  ///< twice the highest order

    struct Single {
        Phasor outside{};  ///< atmosphere below the piston
        Phasor charge{};   ///< compression
        Phasor steeper{};  ///< change of it by its exponent
        Phasor burn{};
        Phasor outside_later{};  ///< change of the three for each radian by which the exhaust opens later
        Phasor charge_later{};
        Phasor burn_later{};
        Phasor mass{};  ///< reciprocating mass, at 1 rad/s: times speed squared
    };

    /// `config` was validated.
    void build(const EngineConfig& engine) noexcept {
        told_ = engine.bore_mm > 0.0 && engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0;
        masses_told_ = engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0 && engine.reciprocating_kg > 0.0;
        const SliderCrank crank = SliderCrank::of(engine);
        // Where nothing is told, a car engine: half a litre and 0.04 kg m^2 a cylinder (common practice, no source).
        double area_radius = 0.5 * 5e-4;  // piston area times crank radius
        if (engine.bore_mm > 0.0 && engine.stroke_mm > 0.0)
            area_radius = 0.25 * std::numbers::pi * engine.bore_mm * engine.bore_mm * 0.5 * engine.stroke_mm * 1e-9;
        double inertia = engine.inertia_kg_m2 > 0.0 ? engine.inertia_kg_m2 : 0.04 * engine.cylinders;
        const double radius = engine.stroke_mm > 0.0 ? 0.5e-3 * engine.stroke_mm : 0.043;
        const double mass = masses_told_ ? engine.reciprocating_kg : kPiston_kg_m2 * area_radius / radius;
        double lever_square = 0.0;
        for (int i = 0; i < 180; ++i) {
            const double lever = crank.lever(to_rad(2.0 * i + 1.0));
            lever_square += lever * lever / 180.0;
        }
        inertia += engine.cylinders * mass * radius * radius * lever_square;
        mass_share_ = mass * radius * radius / inertia;
        reciprocating_ = mass_share_ * lever_square;
        unit_ = area_radius / inertia;
        unthrottled_ = is_diesel(engine);
        const CombustionWork work(crank, kBurnCentre_deg);
        orders_.fill({});
        for (int i = 0; i < kSteps; ++i) sum_step(engine, crank, work, i);
    }

    /// Orders by twice their number, 1 to kTwice.
    [[nodiscard]] const Single& operator[](int twice) const noexcept {
        return orders_[static_cast<std::size_t>(twice)];
    }
    [[nodiscard]] bool told() const noexcept { return told_; }
    [[nodiscard]] bool masses_told() const noexcept { return masses_told_; }
    /// Nothing throttles it: every charge is full, whatever the load.
    [[nodiscard]] bool unthrottled() const noexcept { return unthrottled_; }
    /// Share of one cylinder's reciprocating mass, on average over a turn, in all inertia.
    [[nodiscard]] double reciprocating() const noexcept { return reciprocating_; }

  private:
    static constexpr int kSteps = 360;  // of 2 degrees, one four-stroke cycle
    static constexpr double kAmbient_pa = 1.013e5;
    static constexpr double kFullWork_pa = 10e5;  // combustion's own work over displaced volume at full charge
    static constexpr double kExponent = 1.32;
    static constexpr double kOpens_deg = 140.0;  // when the exhaust has blown down: CombustionWork's, too
    static constexpr double kPort_deg = 110.0;   // the same of a two-stroke
    static constexpr double kBurnCentre_deg = 10.0;
    static constexpr double kPiston_kg_m2 = 95.0;  // reciprocating mass over piston area: 0.55 kg at 86 mm bore

    void sum_step(const EngineConfig& engine, const SliderCrank& crank, const CombustionWork& work, int i) noexcept {
        const bool four = engine.strokes != 2;
        const double deg = -360.0 + 2.0 * i + 1.0;  // from firing TDC
        // A two-stroke's cycle is one revolution: all that is closed happens twice in these two.
        const double own = four ? deg : std::remainder(deg, 360.0);
        const double rad = to_rad(own);
        const double lever = crank.lever(rad);
        // Once the exhaust has blown down, pressure is the atmosphere's on both sides.
        const double opens = four ? kOpens_deg : kPort_deg;
        const bool closed = own > (four ? -180.0 : -kPort_deg) && own < opens;
        const bool intake = four && own < -180.0;
        double gas = 0.0;
        double steeper = 0.0;
        double air = 0.0;
        double heat = 0.0;
        if (closed) {
            const double bottom = four ? crank.compression_ratio : crank.volume(to_rad(kPort_deg));
            gas = std::pow(bottom / crank.volume(rad), kExponent) * lever;
            steeper = gas * std::log(bottom / crank.volume(rad));
            air = -lever;
            const int step =
                static_cast<int>(std::floor((own - CombustionWork::kFirst_deg) / CombustionWork::kStep_deg));
            // Share of work in a step of 2 degrees, as a torque: work over angle.
            if (step >= 0) {
                const double volume = 2.0 * unit_;  // displaced volume is piston area times twice the radius
                heat = kFullWork_pa * volume * work.pulse(step) / to_rad(2.0);
            }
        } else if (intake) {
            gas = lever;
            air = -lever;
        }
        gas *= kAmbient_pa * unit_;
        steeper *= kAmbient_pa * unit_;
        air *= kAmbient_pa * unit_;
        for (int twice = 1; twice <= kTwice; ++twice) {
            const double order = 0.5 * twice;
            const Phasor turn = std::polar(1.0 / kSteps, -order * to_rad(deg));
            Single& sum = orders_[static_cast<std::size_t>(twice)];
            sum.outside += air * turn;
            sum.charge += gas * turn;
            sum.steeper += steeper * turn;
            if (closed && own + 2.0 > opens) {
                const double per_rad = 1.0 / to_rad(2.0);
                sum.outside_later += per_rad * air * turn;
                sum.charge_later += per_rad * gas * turn;
                sum.burn_later += per_rad * heat * turn;
            }
            sum.burn += heat * turn;
            // Inertia m r^2 lever^2 takes the torque J' w^2 / 2 where it grows with the angle.
            sum.mass += Phasor(0.0, -0.5 * order) * mass_share_ * lever * lever * turn;
        }
    }

    bool told_ = false;
    bool masses_told_ = false;
    bool unthrottled_ = false;
    double unit_ = 0.0;  // piston area times crank radius over inertia
    double mass_share_ = 0.0;
    double reciprocating_ = 0.0;
    std::array<Single, kTwice + 1> orders_{};
};

}  // namespace kurbel
