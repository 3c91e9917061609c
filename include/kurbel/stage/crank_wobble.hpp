// How the crank really moves within a revolution, as it shows at the teeth: what must not be taken for wheel error.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/reference_torque.hpp"
#include "kurbel/stage/wheel_basis.hpp"

namespace kurbel {

/// Where teeth seem to stand because the crank swings, in degrees: a sum of parts, each a fixed pattern over the teeth times
/// a number that speed, load and fuel set. From the energy balance d(J w^2/2)/dangle = torque (facts: Kiencke & Nielsen,
/// Automotive Control Systems, from memory): at order n a torque T swings the angle by T / (n^2 J w^2), so that what gas does falls
/// with 1/w^2 where wheel error stays; reciprocating masses take torque that grows with w^2 and swing the angle by the same
/// at every speed: only known masses tell them from wheel error. Torsion adds -T g / (J (w1^2 - n^2 w^2)) for a throw of gain g
/// (first_mode_gain); its frequency is not known, and so the parts of torsion are asked for under each likely one.
///
/// All figures of how wrong a part may be are engineering ranges from memory.
class CrankWobble {
  public:
    /// Parts, by what they go with. u = (kSpeed / w)^2; D = 1 / (1 - (n w / w1)^2 + 2 j zeta n w / w1), the torsion's growth.
    enum Part : int {
        still = 0,     ///< 1: reciprocating masses, and the wheel's own error beside them
        outside,       ///< u: atmosphere below the pistons
        charge,        ///< load u: compression
        burn,          ///< load u where fuel burns
        twist_charge,  ///< load D
        twist_burn,    ///< load D where fuel burns
        twist_mass,    ///< D / u
        twist_all,     ///< all that torsion does, in units of what it is expected to do
        shake,         ///< what a gearbox on the clutch's springs does, in units of what gas does to the free engine
        kParts
    };
    static constexpr double kSpeed = 200.0;  ///< reference speed, rad/s
    using Point = std::array<double, kParts>;

    /// Where the engine runs. `load` NaN: unknown, a middle one is taken.
    struct Run {
        double u = 1.0;
        double load = 0.0;
        double fired_load = 0.0;

        Run(double speed_rad_s, double load_told, bool fires) noexcept
            : u((kSpeed / speed_rad_s) * (kSpeed / speed_rad_s)),
              load(load_told == load_told ? load_told : kMiddleLoad),
              fired_load(fires ? load : 0.0) {}
        [[nodiscard]] double speed_rad_s() const noexcept { return kSpeed / std::sqrt(u); }
    };

    /// One pattern in one run under one torsion frequency: what the crank is expected to do, what that is multiplied by where it is
    /// wrong, and how wrong it is beyond that.
    struct Expected {
        double value = 0.0;
        Point factor{};
        double variance = 0.0;
        double swing_square = 0.0;  ///< of all parts together, whatever their phase
    };

    /// `clutch_rad_s`: natural frequency of the engine against the gearbox; 0: no gear, or far away.
    [[nodiscard]] Expected expect(int m, int order, const Run& run, double mode_rad_s,
                                  double clutch_rad_s) const noexcept {
        const Point& mean = mean_[at(m)];
        const Point& quarter = quarter_[at(m)];
        const double ratio = order * run.speed_rad_s() / mode_rad_s;
        const Phasor grown = 1.0 / Phasor(1.0 - ratio * ratio, 2.0 * kDamping * ratio);
        const double slow = mode_square_ / (mode_rad_s * mode_rad_s);
        const double real = slow * grown.real();
        const double turned = slow * grown.imag();
        const double by[3] = {run.load, run.fired_load, 1.0 / run.u};
        double twist = 0.0;
        for (int i = 0; i < 3; ++i)
            twist += by[i] * (mean[at(twist_charge + i)] * real + quarter[at(twist_charge + i)] * turned);
        Expected result;
        result.factor = {
            1.0, run.u, run.load * run.u, run.fired_load * run.u, by[0] * real, by[1] * real, by[2] * real, twist, 0.0};
        double gas = 0.0;
        double aside = 0.0;
        for (int k = still; k <= burn; ++k) {
            gas += mean[at(k)] * result.factor[at(k)];
            aside += quarter[at(k)] * result.factor[at(k)];
        }
        result.value = gas + twist;
        if (clutch_rad_s > 0.0) {
            const double share = order * run.speed_rad_s() / clutch_rad_s;
            const Phasor swing = 1.0 / Phasor(1.0 - share * share, 2.0 * kClutchDamping * share);
            result.factor[shake] = gas * swing.real() + aside * swing.imag();
        }
        for (int i = 0; i < 3; ++i)
            aside += by[i] * (quarter[at(twist_charge + i)] * real - mean[at(twist_charge + i)] * turned);
        result.swing_square = result.value * result.value + aside * aside;
        // Frequencies are tried in steps: between two of them the growth is wrong by its slope.
        const double steep = 2.0 * ratio * ratio * std::abs(grown) * kModeStep * kHalfStep;
        result.variance = twist * twist * (kTwistShape * kTwistShape + steep * steep);
        return result;
    }

    /// Frequencies of the clutch that are tried; a disc's springs give 40 to 80 Hz.
    static constexpr int kClutches = 5;
    [[nodiscard]] static double clutch_rad_s(int i) noexcept {
        return i == 0 ? 0.0 : 2.0 * std::numbers::pi * kClutch_hz * std::exp(kClutchStep * (i - 1));
    }
    /// Whether an order can meet them anywhere between two speeds.
    [[nodiscard]] static bool meets_clutch(int order, double slowest_rad_s, double fastest_rad_s) noexcept {
        return order * fastest_rad_s > 0.6 * clutch_rad_s(1) &&
               order * slowest_rad_s < 2.0 * clutch_rad_s(kClutches - 1);
    }

    /// Torsion frequencies that are tried, and how likely each is before any data.
    static constexpr int kModes = 14;
    [[nodiscard]] double mode_rad_s(int i) const noexcept {
        return std::sqrt(mode_square_) * std::exp(kModeStep * (i - 0.5 * (kModes - 1)));
    }
    [[nodiscard]] static double log_likely(int i) noexcept {
        const double off = kModeStep * (i - 0.5 * (kModes - 1)) / kModeSpread;
        return -0.5 * off * off;
    }

    /// `config` was validated.
    void build(const Config& config, const WheelBasis& basis) noexcept {
        for (auto& row : mean_) row.fill(0.0);
        for (auto& row : variance_) row.fill(0.0);
        for (auto& row : spread_) row.fill(0.0);
        for (auto& row : quarter_) row.fill(0.0);
        scatter_.fill(0.0);
        const EngineConfig& engine = config.engine;
        told_ = engine.bore_mm > 0.0 && engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0;
        masses_told_ = engine.stroke_mm > 0.0 && engine.inertia_kg_m2 > 0.0 && engine.reciprocating_kg > 0.0;
        make_orders(engine);
        const bool front = config.crank_wheel.at != SensorAt::flywheel;
        gain_ = first_mode_gain(engine, front ? SensorAt::front : SensorAt::flywheel);
        const double hz = engine.bore_mm > 0.0 ? kMode_hz * 86.0 / engine.bore_mm : kMode_hz;
        mode_square_ = (2.0 * std::numbers::pi * hz) * (2.0 * std::numbers::pi * hz);
        for (int n = 1; n <= kOrders; ++n) add_order(config, basis, n);
    }

    /// Variance of part `k` of pattern `m`: how wrong the description may be. Without what tells the cylinders apart.
    [[nodiscard]] double variance(int m, int k) const noexcept { return variance_[at(m)][at(k)]; }
    /// More variance because cylinders differ: in proportion to the square of how much they do.
    [[nodiscard]] double spread(int m, int k) const noexcept { return spread_[at(m)][at(k)]; }
    /// Variance of pattern `m` from one cycle to the next at u = load = 1, degrees squared.
    [[nodiscard]] double scatter(int m) const noexcept { return scatter_[at(m)]; }
    /// Mean square over a wheel's teeth of half the difference between both revolutions of a cycle that unequal cylinders should
    /// make at u = load = 1, degrees squared: half orders, which no wheel error reaches.
    [[nodiscard]] double half_order_square() const noexcept { return half_square_; }

  private:
    static constexpr int kOrders = 24;
    static constexpr int kSteps = 360;  // of 2 degrees, one four-stroke cycle
    static constexpr double kMiddleLoad = 0.45;
    static constexpr double kMode_hz = 350.0;  // first torsion at 86 mm bore; value from memory
    static constexpr double kAmbient_pa = 1.013e5;
    static constexpr double kFullWork_pa = 10e5;  // combustion's own work over displaced volume at full charge
    static constexpr double kExponent = 1.32;
    static constexpr double kBurnCentre_deg = 10.0;
    static constexpr double kPiston_kg_m2 = 95.0;  // reciprocating mass over piston area: 0.55 kg at 86 mm bore
    static constexpr double kDieselRatio = 14.0;   // compressed more: no throttle, every charge is full
    // How wrong: inertia and geometry as told; the burn beside that in place; reciprocating masses over the inertia.
    static constexpr double kTold = 0.15;
    static constexpr double kUntold = 0.7;
    static constexpr double kMasses = 0.07;
    static constexpr double kTwist = 0.5;       // all of torsion: shape of the mode, inertias
    static constexpr double kTwistPart = 0.2;   // its parts against each other
    static constexpr double kTwistShape = 0.1;  // and what no part holds
    static constexpr double kDamping = 0.02;
    static constexpr double kClutch_hz = 40.0;
    static constexpr double kClutchStep = 0.25;
    static constexpr double kClutchDamping = 0.1;
    static constexpr double kShake = 0.15;      // gearbox's share of the inertia of both
    static constexpr double kModeStep = 0.075;  // ln; thirteen steps from 0.6 to 1.6 of the middle
    static constexpr double kHalfStep = 0.29;   // standard deviation of a uniform step
    static constexpr double kModeSpread = 0.35;
    static constexpr double kBurnPlace_rad = 0.12;
    // Between cylinders: burn and compression.
    static constexpr double kBurnSpread = 0.08;
    static constexpr double kChargeSpread = 0.03;
    static constexpr double kScatter = 0.06;  // of one burn

    using Phasor = std::complex<double>;
    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    /// Torque of one cylinder over the inertia, and its orders; a half order h is kept at 2 h.
    void make_orders(const EngineConfig& engine) noexcept {
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
        unit_ = area_radius / inertia;
        unthrottled_ = engine.compression_ratio > kDieselRatio;
        const CombustionWork work(crank, kBurnCentre_deg);
        orders_.fill({});
        for (int i = 0; i < kSteps; ++i) sum_step(engine, crank, work, i);
    }

    struct Single {
        Phasor outside{};
        Phasor charge{};
        Phasor burn{};
        Phasor lever_square{};
    };

    void sum_step(const EngineConfig& engine, const SliderCrank& crank, const CombustionWork& work, int i) noexcept {
        const bool four = engine.strokes != 2;
        const double deg = -360.0 + 2.0 * i + 1.0;  // from firing TDC
        // A two-stroke's cycle is one revolution: all that is closed happens twice in these two.
        const double own = four ? deg : std::remainder(deg, 360.0);
        const double rad = to_rad(own);
        const double lever = crank.lever(rad);
        const bool closed = std::fabs(own) < (four ? 180.0 : 110.0);
        const bool intake = four && own < -180.0;
        double gas = 0.0;
        double air = 0.0;
        double heat = 0.0;
        if (closed) {
            const double bottom = four ? crank.compression_ratio : crank.volume(to_rad(110.0));
            gas = std::pow(bottom / crank.volume(rad), kExponent) * lever;
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
        air *= kAmbient_pa * unit_;
        if (unthrottled_) {
            air += gas;
            gas = 0.0;
        }
        for (int twice = 1; twice <= 2 * kOrders; ++twice) {
            const Phasor turn = std::polar(1.0 / kSteps, -0.5 * twice * to_rad(deg));
            Single& sum = orders_[at(twice)];
            sum.outside += air * turn;
            sum.charge += gas * turn;
            sum.burn += heat * turn;
            sum.lever_square += lever * lever * turn;
        }
    }

    void add_order(const Config& config, const WheelBasis& basis, int n) noexcept {
        const EngineConfig& engine = config.engine;
        const Single& single = orders_[at(2 * n)];
        Phasor all{};
        Phasor all_gain{};
        double gain_square = 0.0;
        for (int k = 0; k < engine.cylinders; ++k) {
            const Phasor turn = std::polar(1.0, -n * to_rad(engine.firing_tdc_deg[at(k)]));
            all += turn;
            all_gain += gain_[at(k)] * turn;
            gain_square += gain_[at(k)] * gain_[at(k)];
        }
        const double deg = 180.0 / std::numbers::pi;
        const double swing = deg / (n * n * kSpeed * kSpeed);  // of torque over inertia at the reference speed
        const double twist = -deg / mode_square_;
        const double told = told_ ? kTold : kUntold;
        const double burn_wrong = std::min(1.0, std::hypot(told, n * kBurnPlace_rad));
        const double root = std::sqrt(static_cast<double>(engine.cylinders));
        // Kinetic energy stays: speed falls where the pistons take more of it. Half of their share, summed up over the angle.
        const Phasor mass = deg * 0.5 * mass_share_ * single.lever_square * Phasor(0.0, -1.0) / static_cast<double>(n);
        // The torque over inertia behind it: -n^2 w^2 times the swing of the angle.
        const Phasor mass_torque = mass / swing;
        const double mass_wrong = masses_told_ ? kMasses : 0.5;
        Wave wave(config.crank_wheel, basis, n);
        add(wave, still, mass * all, mass_wrong, 0.0);
        add(wave, outside, swing * single.outside * all, told, swing * std::abs(single.outside) * kChargeSpread * root);
        add(wave, charge, swing * single.charge * all, told, swing * std::abs(single.charge) * kChargeSpread * root);
        add(wave, burn, swing * single.burn * all, burn_wrong, swing * std::abs(single.burn) * kBurnSpread * root);
        const double gains = std::sqrt(gain_square);
        const auto add_twist = [&](int part, Phasor torque) {
            const Phasor size = twist * torque * all_gain;
            add(wave, part, size, kTwistPart, 0.0);
            spread(wave, part, std::fabs(twist) * std::abs(torque) * gains * 0.2);
        };
        add_twist(twist_charge, single.charge);
        add_twist(twist_burn, single.burn);
        add_twist(twist_mass, mass_torque);
        for (int m = 0; m < basis.size(); ++m) {
            variance_[at(m)][twist_all] = kTwist * kTwist;
            variance_[at(m)][shake] = kShake * kShake;
        }
        const double cycle = swing * std::abs(single.burn) * kScatter * root;
        for (int m = 0; m < basis.size(); ++m) scatter_[at(m)] += 2.0 * cycle * cycle * wave.square(m);
        const double half_swing = deg / ((n - 0.5) * (n - 0.5) * kSpeed * kSpeed);
        const double half = half_swing * std::abs(orders_[at(2 * n - 1)].burn) * kBurnSpread * root;
        if (n == 1) half_square_ = 0.0;
        half_square_ += 2.0 * half * half;
    }

    /// How order n, counted from cylinder 1's TDC, lies on the patterns.
    struct Wave {
        int size = 0;
        std::array<double, WheelBasis::kMost> cosine{};
        std::array<double, WheelBasis::kMost> sine{};

        Wave(const WheelConfig& wheel, const WheelBasis& basis, int n) noexcept : size(basis.size()) {
            std::array<double, kMaxTeeth> c{};
            std::array<double, kMaxTeeth> s{};
            for (int j = 0; j < wheel.teeth; ++j) {
                const double angle = n * to_rad(static_cast<double>(wheel.angle_deg[at(j)]) - wheel.tdc1_deg);
                c[at(j)] = std::cos(angle);
                s[at(j)] = std::sin(angle);
            }
            for (int m = 0; m < size; ++m) {
                cosine[at(m)] = basis.project(m, c.data());
                sine[at(m)] = basis.project(m, s.data());
            }
        }
        [[nodiscard]] double square(int m) const noexcept {
            return cosine[at(m)] * cosine[at(m)] + sine[at(m)] * sine[at(m)];
        }
    };

    /// Part of twice the real part of `size` e^(j n angle); wrong by the share `wrong`, and by `apart` where cylinders differ.
    void add(const Wave& wave, int part, Phasor size, double wrong, double apart) noexcept {
        for (int m = 0; m < wave.size; ++m)
            mean_[at(m)][at(part)] += 2.0 * (size.real() * wave.cosine[at(m)] - size.imag() * wave.sine[at(m)]);
        turn(wave, part, size);
        spread(wave, part, wrong * std::abs(size));
        for (int m = 0; m < wave.size; ++m) spread_[at(m)][at(part)] += 2.0 * apart * apart * wave.square(m);
    }
    /// The same a quarter of a wave on: what it becomes as a resonance turns it.
    void turn(const Wave& wave, int part, Phasor size) noexcept {
        for (int m = 0; m < wave.size; ++m)
            quarter_[at(m)][at(part)] -= 2.0 * (size.imag() * wave.cosine[at(m)] + size.real() * wave.sine[at(m)]);
    }
    void spread(const Wave& wave, int part, double deviation) noexcept {
        for (int m = 0; m < wave.size; ++m) variance_[at(m)][at(part)] += 2.0 * deviation * deviation * wave.square(m);
    }

    bool told_ = false;
    bool masses_told_ = false;
    bool unthrottled_ = false;
    double unit_ = 0.0;  // piston area times crank radius over inertia
    double mass_share_ = 0.0;
    double mode_square_ = 1.0;
    double half_square_ = 0.0;
    std::array<double, kMaxCylinders> gain_{};
    std::array<Single, 2 * kOrders + 1> orders_{};
    std::array<Point, WheelBasis::kMost> mean_{};
    std::array<Point, WheelBasis::kMost> quarter_{};
    std::array<Point, WheelBasis::kMost> variance_{};
    std::array<Point, WheelBasis::kMost> spread_{};
    std::array<double, WheelBasis::kMost> scatter_{};
};

}  // namespace kurbel
