// What a healthy firing should do at this load.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/usual_engine.hpp"

namespace kurbel {

/// Expected work of one firing over inertia, rad^2/s^2: indicated mean pressure rises in a line with load. Where geometry,
/// inertia or load are unknown the size is a guess, which misfires correct later.
template <class Real>
class ExpectedWork {
  public:
    static constexpr Real kFullPressure_bar = Real(11);
    static constexpr Real kUnknownLoad = Real(0.35);
    /// Residual gas and throttling take about this much of the charge (engineering range, from memory: indicated mean pressure
    /// rises in a line with manifold pressure and vanishes near 0.1 bar).
    static constexpr Real kNoWorkLoad = Real(0.09);

    void begin(const EngineConfig& engine) noexcept {
        guess_ = static_cast<Real>(work_at_full_charge(engine));
        diesel_ = is_diesel(engine);
        geometry_told_ = engine.bore_mm > 0.0 && engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0;
        EngineConfig untold = engine;
        untold.inertia_kg_m2 = kUnknown;
        log_unusual_ = static_cast<float>(std::log(static_cast<double>(guess_) / work_at_full_charge(untold)));
        reset();
    }

    /// Forgets all that this engine has shown.
    void reset() noexcept {
        at_full_charge_ = guess_;
        geometry_known_ = geometry_told_;
        fuel_told_ = false;
        restart();
    }
    /// From now on a channel tells the load. Of a diesel that is the fuel, and all of it works.
    void expect_load() noexcept {
        fuel_told_ = diesel_;
    }
    /// Forgets what misfires and the load channel have shown.
    void restart() noexcept {
        size_ = Real(1);
        misfires_ = shown_ = square_ = Real(0);
        untold_ = 0.0F;
    }

    /// `load`: relative charge, NaN where unknown.
    [[nodiscard]] Real at(Real load) const noexcept { return at_full_charge_ * size_ * useful(load); }
    /// The charge that stands behind this load.
    [[nodiscard]] Real charge(Real load) const noexcept { return load + Real(untold_); }
    /// Useful charge at this load, as the line through others has it; may be below zero.
    [[nodiscard]] Real useful_on_line(Real load) const noexcept { return charge(load) - no_work(); }

    [[nodiscard]] Real at_full_charge() const noexcept { return at_full_charge_; }
    /// The same, as misfires have shown it.
    [[nodiscard]] Real learned_at_full_charge() const noexcept { return at_full_charge_ * size_; }

    /// Logarithm of what it is by what was told over what it would be if nothing had been.
    [[nodiscard]] Real log_unusual() const noexcept { return static_cast<Real>(log_unusual_); }

    /// Whether it rests on geometry, inertia and a load channel.
    [[nodiscard]] bool known(bool load_known) const noexcept { return load_known && geometry_known_; }

    /// How far off it may be for a firing that should do `work`, as a share of it: what one lost combustion reads as, and from which load
    /// on there is any work (engineering ranges, from memory).
    [[nodiscard]] Real error(Real work, bool load_known) const noexcept {
        constexpr Real kSizeError = Real(0.3);
        constexpr Real kNoWorkError = Real(0.03);  // of full charge
        constexpr Real kGuess = Real(1);           // where even the size of the work is one
        return known(load_known) ? std::hypot(kSizeError, kNoWorkError * learned_at_full_charge() / work) : kGuess;
    }

    /// How many times as much it is at this load if the channel tells the torque at the clutch, which stands at nothing where the engine turns itself
    /// alone; 1 where it tells no load.
    [[nodiscard]] Real if_torque_is_told(Real load) const noexcept {
        return load == load ? std::max((load + kOwnFriction) / (size_ * useful(load)), Real(1)) : Real(1);
    }

    /// All of it is this many times as much, by what the pattern of the cycle shows.
    void rescale(Real factor) noexcept { at_full_charge_ *= factor; }
    /// How many times the work there is that geometry and inertia were told to make; 1 where they are believed, and where they were not told.
    [[nodiscard]] Real over_told() const noexcept {
        return geometry_told_ && !geometry_known_ ? at_full_charge_ / guess_ : Real(1);
    }
    /// Geometry or inertia are not what was told: the work is a guess from now on, so many times what it was.
    void disbelieve(Real factor) noexcept {
        geometry_known_ = false;
        rescale(factor);
    }

    /// A whole work is lost in the typical misfire: `lost` share of what was expected, `trust` 0 to 1 in that it was one. Where they read as
    /// more, that is what there is to lose. Where as less, either the guess was too large, or what looks like misfires are weak burns, which
    /// differ more from one another: the logarithm is believed by as much as the first is likely.
    void learn_size(Real lost, Real trust) noexcept {
        constexpr Real kMemory = Real(50);
        constexpr Real kFirstGuess = Real(2);
        if (!(trust > Real(0))) return;
        misfires_ = std::min(misfires_ + trust, kMemory);
        const Real off = std::log(std::clamp(lost, Real(0.25), Real(4)) * size_) - shown_;
        const Real step = trust / misfires_;
        shown_ += step * off;
        square_ += step * ((Real(1) - step) * off * off - square_);
        const Real believed = misfires_ / (misfires_ + kFirstGuess) * (shown_ < Real(0) ? whole_not_weak() : Real(1));
        size_ = std::clamp(std::exp(believed * shown_), Real(0.1), Real(10));
    }

    /// Work over inertia of one healthy firing per unit of useful charge: 11 bar of indicated mean pressure (engineering
    /// range, from memory). Where inertia is unknown, a typical one of 0.075 kg m^2 per litre of all cylinders.
    [[nodiscard]] static double work_at_full_charge(const EngineConfig& engine) noexcept {
        constexpr double kInertiaPerVolume = 75.0;  // kg m^2 per m^3
        const double mean_pressure_pa = 1.0e5 * static_cast<double>(kFullPressure_bar);
        const double volume_m3 = 0.25e-9 * std::numbers::pi * engine.bore_mm * engine.bore_mm * engine.stroke_mm;
        if (volume_m3 > 0.0 && engine.inertia_kg_m2 > 0.0) return mean_pressure_pa * volume_m3 / engine.inertia_kg_m2;
        return mean_pressure_pa / (kInertiaPerVolume * engine.cylinders);
    }

    /// The engine keeps its speed at this load, in the cycle numbered `cycles`. It burns enough then to turn itself, whatever the channel
    /// says: one that tells torque or the pedal stands near nothing there.
    void keeps_speed(Real load, int cycles) noexcept {
        const Real lacking = kOwnFriction + no_work() - load - Real(untold_);
        if (cycles < kSettling || !(lacking > Real(0))) return;
        untold_ += static_cast<float>(lacking / Real(std::min(cycles - kSettling + 1, kSettled)));
    }

    /// Useful share of the charge of an engine that does no work at `no_work`. Who burns at all turns the better part of his own engine, whatever
    /// the channel says.
    [[nodiscard]] static Real useful_charge(Real charge, Real no_work = kNoWorkLoad) noexcept {
        return charge == charge ? std::max(charge - no_work, kLeastUseful) : kUnknownLoad - no_work;
    }

    /// Intake pressure over the indicated mean pressure of a healthy firing: 1 bar at full load.
    [[nodiscard]] static Real intake_share(Real charge) noexcept {
        return intake_bar(charge) / (kFullPressure_bar * useful_charge(charge));
    }
    /// The same of this engine at this load. A diesel's air is not throttled, and boost comes with the load.
    [[nodiscard]] Real intake_over_work(Real load) const noexcept {
        const Real bar = fuel_told_ ? std::max(charge(load), Real(1)) : intake_bar(charge(load));
        return bar / (kFullPressure_bar * useful(load));
    }

  private:
    /// Friction of 0.9 bar, and 0.5 bar to breathe through a closed throttle (engineering ranges, from memory), over the pressure at full
    /// charge, and the charge that does no work.
    static constexpr Real kOwnFriction = Real(0.13);
    static constexpr Real kLeastUseful = Real(0.06);  // friction alone takes two thirds of a bar of a warm engine
    /// The first cycles may be of a start, or of a fuel cut that ends; later on a foot that has just left the pedal has not slowed it yet.
    static constexpr int kSettling = 4;
    static constexpr int kSettled = 64;

    [[nodiscard]] Real no_work() const noexcept { return fuel_told_ ? Real(0) : kNoWorkLoad; }
    [[nodiscard]] Real useful(Real load) const noexcept { return useful_charge(charge(load), no_work()); }
    [[nodiscard]] static Real intake_bar(Real charge) noexcept {
        return charge == charge ? std::max(charge, Real(0.1)) : kUnknownLoad;
    }

    /// Probability that misfires read as less than the guess because that was too large, by how much they differ: logarithms of whole losses
    /// by 0.15 or so, which measurement makes, those of burns that are weak enough to stand out by twice that.
    [[nodiscard]] Real whole_not_weak() const noexcept {
        constexpr Real kWhole = Real(0.15);
        constexpr Real kWeak = Real(2) * kWhole;
        const Real log_ratio =
            std::log(kWhole / kWeak) - Real(0.5) * square_ * (Real(1) / (kWeak * kWeak) - Real(1) / (kWhole * kWhole));
        return Real(1) / (Real(1) + std::exp(std::min(misfires_ * log_ratio, Real(30))));
    }

    bool diesel_ = false;
    bool fuel_told_ = false;  // what the channel tells is the fuel of a diesel
    bool geometry_told_ = false;
    bool geometry_known_ = false;
    float log_unusual_ = 0.0F;
    float untold_ = 0.0F;  // charge beyond what the channel tells, at any load
    Real guess_ = 1;
    Real at_full_charge_ = 1;
    Real size_ = 1;
    Real misfires_ = 0;
    Real shown_ = 0;   // mean logarithm of what they read as against the first guess
    Real square_ = 0;  // and its variance
};

}  // namespace kurbel
