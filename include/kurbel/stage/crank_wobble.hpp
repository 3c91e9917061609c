// How the crank really moves within a revolution, as it shows at the teeth: what must not be taken for wheel error.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/crank_chain.hpp"
#include "kurbel/stage/torque_orders.hpp"

namespace kurbel {

/// Where teeth seem to stand because the crank swings, order by order, as a function of some unknowns of the engine: how much and
/// when its gas pushes, what its crank is made of, where its resonances are. All orders and all speeds share them, so that what one
/// order shows at its resonance says what another does far from it. Unknowns are counted in standard deviations from what is
/// likely; those are engineering ranges from memory.
///
/// Torque of gas falls against inertia with 1/w^2 where the wheel's error stays; that of reciprocating masses grows with w^2 and
/// swings a rigid crank by the same at every speed (facts: Kiencke & Nielsen, Automotive Control Systems, from memory).
class CrankWobble {
  public:
    using Phasor = std::complex<double>;

    enum Unknown : int {
        inertia = 0,   ///< ln: told over true, and so all that gas and masses do
        burn,          ///< ln: combustion's work at full charge
        charge,        ///< ln: pressure of the charge
        idle_charge,   ///< charge where load is 0
        idle_burn,     ///< and of it what burns: residual gas takes room, and nobody says what load counts
        exponent,      ///< of compression and expansion
        opening,       ///< radians by which the exhaust opens later
        early,         ///< radians by which lost heat moves the charge's peak before TDC
        mass,          ///< ln: reciprocating mass
        late,          ///< burn, radians later than expected at a middle load
        late_by_load,  ///< and more of it from no load to full
        wide,          ///< rad^2 by which it is longer at a middle load
        wide_by_load,
        turned,          ///< radians by which cylinder 1's TDC comes later than told
        mode,            ///< ln: first torsion frequency
        pulley,          ///< ln: share of inertia
        throws,          ///< ln
        damping,         ///< ln
        ring,            ///< ln: a damper's ring; the last six only where there is one
        ring_tune,       ///< ln
        ring_damping,    ///< ln
        gearbox,         ///< ln: share of inertia behind the clutch's springs
        clutch,          ///< ln: its frequency
        clutch_damping,  ///< ln
        first_cylinder,  ///< from here on: each cylinder's burn over the others'
    };
    static constexpr int kMost = first_cylinder + kMaxCylinders;
    static constexpr int kOrders = TorqueOrders::kTwice / 2;  ///< gas torque beyond moves no tooth by 0.001 degrees
    static constexpr double kMiddleLoad = 0.45;
    using Values = std::array<double, kMost>;

    /// What hangs on the crank: assumptions that no small step leads from one to another.
    struct Kind {
        bool has_ring = false;
        bool in_gear = false;
    };

    /// Where the engine runs. `load` NaN: unknown, a middle one is taken.
    struct Run {
        double speed_rad_s = 200.0;
        double load = kMiddleLoad;
        bool fires = true;

        Run(double speed, double load_told, bool burns) noexcept
            : speed_rad_s(speed), load(load_told == load_told ? load_told : kMiddleLoad), fires(burns) {}
        /// Of an order's torque to swing.
        [[nodiscard]] double u() const noexcept { return (kSpeed / speed_rad_s) * (kSpeed / speed_rad_s); }
    };
    static constexpr double kSpeed = 200.0;  ///< reference speed, rad/s

    /// `config` was validated.
    void build(const Config& config) noexcept {
        engine_ = config.engine;
        front_ = config.crank_wheel.at != SensorAt::flywheel;
        torque_.build(engine_);
        chain_.configure(engine_, torque_.reciprocating());
        const double hz = engine_.bore_mm > 0.0 ? kMode_hz * 86.0 / engine_.bore_mm : kMode_hz;
        mode_rad_s_ = 2.0 * std::numbers::pi * hz;
        for (int twice = 1; twice <= 2 * kOrders; ++twice)
            for (int k = 0; k < engine_.cylinders; ++k)
                firing_[at(twice)][at(k)] =
                    std::complex<float>(std::polar(1.0, -0.5 * twice * to_rad(engine_.firing_tdc_deg[at(k)])));
        doubt();
    }

    [[nodiscard]] int unknowns() const noexcept { return first_cylinder + engine_.cylinders; }
    [[nodiscard]] bool is_on(int unknown, const Kind& kind) const noexcept {
        if (unknown >= ring && unknown <= ring_damping) return kind.has_ring;
        if (unknown >= gearbox && unknown <= clutch_damping) return kind.in_gear;
        return true;
    }

    /// Bending of the chain: only these need it anew.
    [[nodiscard]] static bool of_chain(int unknown) noexcept { return unknown >= mode && unknown < first_cylinder; }

    void set(const Values& values, const Kind& kind) noexcept {
        const auto scaled = [&](int i) { return std::exp(deviation_[at(i)] * values[at(i)]); };
        CrankChain::Parts parts;
        parts.mode_rad_s = mode_rad_s_ * scaled(mode);
        parts.damping = 0.02 * scaled(damping);
        parts.pulley = 0.08 * scaled(pulley);
        parts.throws = 0.25 * scaled(throws);
        if (kind.has_ring) {
            parts.ring = 0.035 * scaled(ring);
            parts.ring_tune = 0.85 * scaled(ring_tune);
            parts.ring_damping = 0.08 * scaled(ring_damping);
        }
        if (kind.in_gear) {
            parts.gearbox = 0.1 * scaled(gearbox);
            parts.clutch_rad_s = 2.0 * std::numbers::pi * 57.0 * scaled(clutch);
            parts.clutch_damping = 0.1 * scaled(clutch_damping);
        }
        chain_.set(parts);
        values_ = values;
    }

    /// One order at one run: where the teeth seem to stand, degrees, is twice the real part of this times e^(j n angle), the angle
    /// counted from cylinder 1's TDC. `slopes`, where given, takes the derivatives by all unknowns that the chain is not made of.
    [[nodiscard]] Phasor swing(int twice, const Run& run, Phasor* slopes) const noexcept {
        const double order = 0.5 * twice;
        std::array<Phasor, kMaxCylinders> angle{};
        const double w = run.speed_rad_s;
        chain_.turn(order * w, front_, angle, engine_.cylinders);
        const TorqueOrders::Single& single = torque_[twice];
        const double all = std::exp(deviation_[inertia] * values_[inertia]);
        const double filled = (torque_.unthrottled() ? 1.0 : run.load) * std::exp(deviation_[charge] * values_[charge]);
        const double rest = deviation_[idle_charge] * values_[idle_charge];
        const double off = run.load - kMiddleLoad;
        const double lateness =
            deviation_[late] * values_[late] + off * deviation_[late_by_load] * values_[late_by_load];
        const double width = deviation_[wide] * values_[wide] + off * deviation_[wide_by_load] * values_[wide_by_load];
        const double later = deviation_[opening] * values_[opening];
        const Phasor shape = run.fires ? all * std::exp(deviation_[burn] * values_[burn]) *
                                             std::exp(Phasor(-0.5 * order * order * width, -order * lateness))
                                       : Phasor{};
        const Phasor one_heat = shape * (single.burn + later * single.burn_later);
        const double fuel = run.load + deviation_[idle_burn] * values_[idle_burn];
        const Phasor heat = fuel * one_heat;
        const Phasor before = all * std::polar(1.0, order * deviation_[early] * values_[early]);
        const Phasor pressure = before * (single.charge + later * single.charge_later +
                                          deviation_[exponent] * values_[exponent] * single.steeper);
        const Phasor closed = (filled + rest) * pressure;
        const Phasor common = closed + all * (single.outside + later * single.outside_later);
        const Phasor pistons = all * w * w * std::exp(deviation_[mass] * values_[mass]) * single.mass;
        const Phasor whole = -180.0 / std::numbers::pi * std::polar(1.0, -order * deviation_[turned] * values_[turned]);
        Phasor sum{};
        Phasor burnt{};
        for (int k = 0; k < engine_.cylinders; ++k) {
            const Phasor answer = whole * angle[at(k)] * Phasor(firing_[at(twice)][at(k)]);
            const int own = first_cylinder + k;
            sum += answer;
            burnt += answer * (1.0 + deviation_[at(own)] * values_[at(own)]);
            if (slopes != nullptr) slopes[own] = deviation_[at(own)] * answer * heat;
        }
        if (slopes != nullptr) {
            slopes[inertia] = deviation_[inertia] * (burnt * heat + sum * (common + pistons));
            slopes[burn] = deviation_[burn] * burnt * heat;
            slopes[charge] = deviation_[charge] * sum * filled * pressure;
            slopes[idle_charge] = deviation_[idle_charge] * sum * pressure;
            slopes[idle_burn] = deviation_[idle_burn] * burnt * one_heat;
            slopes[exponent] = deviation_[exponent] * sum * (filled + rest) * before * single.steeper;
            slopes[opening] = deviation_[opening] *
                              (burnt * fuel * shape * single.burn_later +
                               sum * ((filled + rest) * before * single.charge_later + all * single.outside_later));
            slopes[early] = deviation_[early] * sum * closed * Phasor(0.0, order);
            slopes[mass] = deviation_[mass] * sum * pistons;
            slopes[late] = deviation_[late] * burnt * heat * Phasor(0.0, -order);
            slopes[wide] = deviation_[wide] * burnt * heat * (-0.5 * order * order);
            slopes[late_by_load] = deviation_[late_by_load] * off * burnt * heat * Phasor(0.0, -order);
            slopes[wide_by_load] = deviation_[wide_by_load] * off * burnt * heat * (-0.5 * order * order);
            slopes[turned] = deviation_[turned] * Phasor(0.0, -order) * (burnt * heat + sum * (common + pistons));
        }
        return burnt * heat + sum * (common + pistons);
    }

    /// Without a load channel all runs are taken at a middle load, which may be far off.
    void doubt_load() noexcept {
        deviation_[burn] = 0.5;
        deviation_[charge] = 0.5;
    }

    /// Swing of this order by one cycle's scatter of burns at u = load = 1, degrees: magnitude of the phasor.
    [[nodiscard]] double scatter(int twice) const noexcept {
        const double n = 0.5 * twice;
        const double deg = 180.0 / std::numbers::pi;
        return kScatter * deg / (n * n * kSpeed * kSpeed) * std::sqrt(std::norm(torque_[twice].burn)) *
               std::sqrt(static_cast<double>(engine_.cylinders));
    }

  private:
    static constexpr double kMode_hz = 350.0;  // first torsion at 86 mm bore; value from memory
    static constexpr double kCylinder = 0.1;   // standard deviation of one cylinder's burn over the others'
    static constexpr double kScatter = 0.06;   // of one burn

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    /// How far from what is likely each unknown may be: standard deviations. Engineering ranges, from memory.
    void doubt() noexcept {
        deviation_.fill(kCylinder);
        deviation_[inertia] = torque_.told() ? 0.15 : 0.5;
        deviation_[burn] = 0.15;
        deviation_[charge] = 0.08;
        deviation_[idle_charge] = 0.05;
        deviation_[idle_burn] = 0.07;
        deviation_[exponent] = 0.03;
        deviation_[opening] = 0.17;
        deviation_[early] = 0.015;
        deviation_[mass] = torque_.masses_told() ? 0.05 : 0.4;
        deviation_[late] = 0.1;
        deviation_[late_by_load] = 0.2;
        deviation_[wide] = 0.015;
        deviation_[wide_by_load] = 0.03;
        deviation_[turned] = 0.02;
        deviation_[mode] = 0.35;
        deviation_[pulley] = 0.5;
        deviation_[throws] = 0.5;
        deviation_[damping] = 0.5;
        deviation_[ring] = 0.5;
        deviation_[ring_tune] = 0.15;
        deviation_[ring_damping] = 0.5;
        deviation_[gearbox] = 0.5;
        deviation_[clutch] = 0.25;
        deviation_[clutch_damping] = 0.4;
    }

    EngineConfig engine_{};
    bool front_ = true;
    double mode_rad_s_ = 2200.0;
    TorqueOrders torque_{};
    CrankChain chain_{};
    std::array<std::array<std::complex<float>, kMaxCylinders>, 2 * kOrders + 1> firing_{};
    Values values_{};
    Values deviation_{};
};

}  // namespace kurbel
