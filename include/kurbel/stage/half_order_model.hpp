// What the half orders of crank torque should look like, and how much likelier one revolution makes them than the other.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/log_sum.hpp"
#include "kurbel/stage/reference_torque.hpp"

namespace kurbel {

/// Likelihood of the half orders (0.5, 1.5, ... 5.5 per revolution) of the crank's acceleration under both revolutions.
///
/// Half orders hold gas torque alone: wheel error and the inertia of equal pistons repeat each revolution. Counted from
/// the wrong revolution, every half order changes its sign. What they should be is the sum over the cylinders of
/// compression, suction and combustion, each as the elastic crank passes it on: 1 - g f^2 / (f1^2 - f^2) with the first
/// torsion mode f1 and the gain g of that throw at the sensor (first_mode_gain()).
///
/// What is not known is summed over with its prior: f1 (around 350 Hz at 86 mm bore, a factor of 1.5 either way; around
/// 300 Hz where the bore is unknown), the shape of the mode (g times 0.7 or 1.4), where the sensor sits if that was not
/// said, charge (0.25 or 0.8 of full), phasing (half burnt at 6 or 20 degrees), up to two cylinders that do not fire,
/// the size of all, and where nothing fits else, a declared TDC that is 10 or 20 degrees off. What the model gets wrong
/// beyond that is noise: 12 % of each cylinder's combustion, 10 % of its compression, one firing in twenty lost, 35 %
/// of what torsion does, and for all in common 15 % in size and 5 degrees in place. Engineering ranges, from memory.
///
/// Where one torsion frequency turns the sign of an order and another likely one does not, the odds are near even: the
/// model does not guess.
class HalfOrderModel {
  public:
    static constexpr int kLines = 6;  ///< orders 0.5, 1.5, ...
    using Phasor = std::complex<double>;
    using Phasors = std::array<Phasor, kLines>;

    /// Means over some cycles, in any unit; angle counted from cylinder 1's assumed firing TDC.
    struct Observation {
        Phasors mean{};                         ///< sum over bins of step x exp(-j order angle), over the bins
        std::array<double, kLines> variance{};  ///< of each component of that mean
        double speed_rpm = 0.0;
        double cycles = 1.0;    ///< that the means were taken over
        std::uint32_t cut = 0;  ///< bit k: place k of the firing order has its fuel cut
    };

    struct Odds {
        double log_odds = 0.0;  ///< natural; positive speaks for the assumed revolution
        double misfit = 0.0;    ///< squared residual of the best explanation over its expectation; 1 = as expected
    };

    /// `config` was validated; `bins` even bins in one cycle, at least 6.
    void configure(const Config& config, int bins) noexcept {
        const EngineConfig& engine = config.engine;
        firings_ = engine.cylinders;
        lines_ = std::min(kLines, bins / 4);
        for (int k = 0; k < firings_; ++k)
            tdc_rad_[static_cast<std::size_t>(k)] = to_rad(engine.firing_tdc_deg[static_cast<std::size_t>(k)]);
        sensors_ = 0;
        const SensorAt at = config.crank_wheel.at;
        if (at != SensorAt::flywheel) add_sensor(first_mode_gain(engine, SensorAt::front));
        if (at != SensorAt::front) add_sensor(first_mode_gain(engine, SensorAt::flywheel));
        middle_hz_ = engine.bore_mm > 0.0 ? 350.0 * 86.0 / engine.bore_mm : 300.0;
        mode_spread_ = engine.bore_mm > 0.0 ? 0.4 : 0.5;
        make_shapes(SliderCrank::of(engine), bins);
    }

    [[nodiscard]] int lines() const noexcept { return lines_; }

    /// Half orders that were seen, against both revolutions.
    [[nodiscard]] Odds compare(const Observation& seen) const noexcept {
        Sum sum;
        const double scale = size_of(seen.mean);
        if (!(scale > 0.0)) return {};
        Observation scaled = seen;
        for (int h = 0; h < lines_; ++h) {
            scaled.mean[at(h)] /= scale;
            scaled.variance[at(h)] /= scale * scale;
        }
        add_nothing(scaled, sum);
        Turns turns{};
        for (int k = 0; k < firings_; ++k)
            for (int h = 0; h < lines_; ++h) turns[at(k)][at(h)] = std::polar(1.0, -order(h) * tdc_rad_[at(k)]);
        weigh_cranks(scaled, turns, 0.0, sum);
        if (sum.odds(lines_).misfit <= kFits) return sum.odds(lines_);
        // Perhaps the declared TDC is off.
        for (const double off_deg : {-20.0, -10.0, 10.0, 20.0}) {
            Observation turned = scaled;
            for (int h = 0; h < lines_; ++h) turned.mean[at(h)] *= std::polar(1.0, order(h) * to_rad(off_deg));
            weigh_cranks(turned, turns, -0.5 * (off_deg / kTdcSpread_deg) * (off_deg / kTdcSpread_deg), sum);
        }
        return sum.odds(lines_);
    }

  private:
    static constexpr int kModes = 8;
    static constexpr double kModeStep = 0.22314;  ///< ln 1.25
    static constexpr int kCharges = 2;
    static constexpr int kShapes = 2 * kCharges;       ///< charges x phasings
    static constexpr double kSpread = 0.12;            ///< of a cylinder's combustion
    static constexpr double kGasSpread = 0.10;         ///< of its compression and suction
    static constexpr double kRare = 0.05;              ///< share of firings that may be lost now and then
    static constexpr double kTwistDoubt = 0.35;        ///< of what torsion does
    static constexpr double kCommonSize = 0.15;        ///< of everything
    static constexpr double kCommonPlace_rad = 0.087;  ///< of everything
    static constexpr double kFits = 1.0;               ///< misfit up to which the declared TDC is not doubted
    static constexpr double kTdcSpread_deg = 8.0;      ///< of what is declared, where it is
    static constexpr double kFloor = 0.02;             ///< of the largest order of one cylinder
    static constexpr int kMostForPairs = 6;            ///< cylinders; with more, two dead ones leave the others' sign
    static constexpr double kDead = -4.0;              ///< log prior of each cylinder that does not fire

    /// With the misfit of the largest term.
    struct Terms {
        LogSum<double> sum;
        double misfit = 1e300;

        void add(double value, double square) noexcept {
            if (value > sum.most()) misfit = square;
            sum.add(value);
        }
    };

    struct Sum {
        Terms right;
        Terms wrong;

        [[nodiscard]] Odds odds(int lines) const noexcept {
            return {right.sum.value() - wrong.sum.value(), std::min(right.misfit, wrong.misfit) / (2.0 * lines)};
        }
    };

    using Turns = std::array<Phasors, kMaxCylinders>;  ///< of each cylinder's firing TDC

    /// What the cylinders add up to through one crank.
    struct Crank {
        std::array<Phasors, kMaxCylinders> answer{};  ///< of unit torque in each cylinder
        std::array<double, kLines> answers2{};        ///< sum of their squares
        std::array<double, kLines> twisted2{};        ///< the same of what torsion adds
        Phasors all{};
    };

    [[nodiscard]] static std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }
    [[nodiscard]] static double order(int line) noexcept { return line + 0.5; }

    [[nodiscard]] double size_of(const Phasors& values) const noexcept {
        double sum = 0.0;
        for (int h = 0; h < lines_; ++h) sum += std::norm(values[at(h)]);
        return std::sqrt(sum);
    }

    /// That scatter alone was seen speaks for neither; what explains less than that is no evidence.
    void add_nothing(const Observation& seen, Sum& sum) const noexcept {
        double square = 0.0;
        double logs = 0.0;
        for (int h = 0; h < lines_; ++h) {
            const double variance = 2.0 * std::max(seen.variance[at(h)], 1e-30);
            square += std::norm(seen.mean[at(h)]) / variance;
            logs += std::log(variance);
        }
        sum.right.add(-square - logs, 2.0 * square);
        sum.wrong.add(-square - logs, 2.0 * square);
    }

    void add_sensor(const std::array<double, kMaxCylinders>& gain) noexcept {
        for (int k = 0; k < firings_; ++k) gain_[at(sensors_)][at(k)] = static_cast<float>(gain[at(k)]);
        ++sensors_;
    }

    /// Orders of one cylinder's torque about its firing TDC, with and without combustion. Polytropic compression and expansion
    /// (exponent 1.3, Heywood 1988, sec. 9.2), closed from 140 degrees before to 130 after TDC, suction before that;
    /// heat by Wiebe over 60 degrees, enough for 9 bar mean pressure per unit of charge. Values from memory.
    void make_shapes(const SliderCrank& crank, int bins) noexcept {
        constexpr std::array<double, kCharges> kCharge{0.25, 0.8};
        constexpr std::array<double, 2> kHalfBurnt_deg{6.0, 20.0};
        int shape = 0;
        for (const double charge : kCharge)
            for (const double centre_deg : kHalfBurnt_deg) make_shape(crank, charge, centre_deg, bins, shape++);
    }

    void make_shape(const SliderCrank& crank, double charge, double centre_deg, int bins, int shape) noexcept {
        constexpr double kGamma = 1.3;
        constexpr double kMep_bar = 9.0;
        constexpr int kClosing_deg = -140;
        constexpr int kOpening_deg = 130;
        const double start_deg = burn_start_deg(centre_deg);
        const double closed = charge * std::pow(crank.volume(to_rad(kClosing_deg)), kGamma);
        Phasors gas{};
        Phasors heat{};
        double heat_term = 0.0;
        double work = 0.0;
        for (int deg = -360; deg < kOpening_deg; ++deg) {
            const double middle_rad = to_rad(deg + 0.5);
            const double lever = crank.lever(middle_rad);
            double gauge_bar = charge - 1.0;  // above the piston less below; exhaust has none
            double pulse = 0.0;
            if (deg >= kClosing_deg) {
                const double expanded = std::pow(crank.volume(middle_rad), -kGamma);
                gauge_bar = closed * expanded - 1.0;
                const double burnt = wiebe((deg + 1 - start_deg) / kBurn_deg) - wiebe((deg - start_deg) / kBurn_deg);
                heat_term += std::pow(crank.volume(middle_rad), kGamma - 1.0) * burnt;
                pulse = heat_term * expanded * lever;
                work += to_rad(1.0) * pulse;
            }
            for (int h = 0; h < lines_; ++h) {
                const Phasor turn = std::polar(1.0, -order(h) * middle_rad);
                gas[at(h)] += gauge_bar * lever * turn;
                heat[at(h)] += pulse * turn;
            }
        }
        // Piston travel is two crank radii: mean pressure times two is the work in the same unit.
        const double scale = 2.0 * kMep_bar * charge / work;
        const double bin_rad = 4.0 * std::numbers::pi / bins;
        for (int h = 0; h < lines_; ++h) {
            // Means over bins and their difference smooth over two bins: a triangle.
            const double half = 0.5 * order(h) * bin_rad;
            const double smoothed = (std::sin(half) / half) * (std::sin(half) / half);
            unfired_[at(shape)][at(h)] = std::complex<float>(smoothed * gas[at(h)]);
            fired_[at(shape)][at(h)] = std::complex<float>(smoothed * (gas[at(h)] + scale * heat[at(h)]));
        }
    }

    void weigh_cranks(const Observation& seen, const Turns& turns, double prior, Sum& sum) const noexcept {
        for (int mode = 0; mode < kModes; ++mode) {
            const double off = kModeStep * (mode - 0.5 * (kModes - 1));
            const double f1_hz = middle_hz_ * std::exp(off);
            const double likely = prior - 0.5 * (off / mode_spread_) * (off / mode_spread_);
            for (int sensor = 0; sensor < sensors_; ++sensor)
                for (const double gain : {0.7, 1.4}) weigh_crank(seen, turns, f1_hz, sensor, gain, likely, sum);
        }
    }

    void weigh_crank(const Observation& seen, const Turns& turns, double f1_hz, int sensor, double gain_factor,
                     double prior, Sum& sum) const noexcept {
        constexpr double kDamping = 0.05;
        Crank crank;
        for (int h = 0; h < lines_; ++h) {
            const double hz = order(h) * seen.speed_rpm / 60.0;
            const Phasor twist = hz * hz / Phasor(f1_hz * f1_hz - hz * hz, 2.0 * kDamping * hz * f1_hz);
            for (int k = 0; k < firings_; ++k) {
                const Phasor added = -static_cast<double>(gain_[at(sensor)][at(k)]) * gain_factor * twist;
                const Phasor passed = 1.0 + added;
                crank.answer[at(k)][at(h)] = turns[at(k)][at(h)] * passed;
                crank.all[at(h)] += crank.answer[at(k)][at(h)];
                crank.answers2[at(h)] += std::norm(passed);
                // Near resonance the answer depends on details that nobody knows.
                crank.twisted2[at(h)] += std::norm(added) * (1.0 + 0.3 * std::norm(twist));
            }
        }
        for (int shape = 0; shape < kShapes; ++shape) weigh_shape(seen, crank, shape, prior, sum);
    }

    /// All fire, or one does not, or two do not.
    void weigh_shape(const Observation& seen, const Crank& crank, int shape, double prior, Sum& sum) const noexcept {
        Phasors fired{};
        Phasors lost{};
        double largest = 0.0;
        for (int h = 0; h < lines_; ++h) {
            fired[at(h)] = Phasor(fired_[at(shape)][at(h)]);
            lost[at(h)] = fired[at(h)] - Phasor(unfired_[at(shape)][at(h)]);
            largest = std::max(largest, std::norm(fired[at(h)]));
        }
        const bool all_cut = seen.cut == (1U << firings_) - 1U;
        const double heat_spread2 = all_cut ? 0.0 : kSpread * kSpread + kRare / seen.cycles;
        std::array<double, kLines> doubt{};
        Phasors healthy{};
        int firing = 0;
        for (int h = 0; h < lines_; ++h) {
            const double spread2 =
                heat_spread2 * std::norm(lost[at(h)]) + kGasSpread * kGasSpread * std::norm(fired[at(h)] - lost[at(h)]);
            doubt[at(h)] = crank.answers2[at(h)] * spread2 +
                           kTwistDoubt * kTwistDoubt * crank.twisted2[at(h)] * std::norm(fired[at(h)]) +
                           kFloor * kFloor * largest;
            healthy[at(h)] = fired[at(h)] * crank.all[at(h)];
        }
        for (int k = 0; k < firings_; ++k) {
            if (((seen.cut >> k) & 1U) != 0)
                take_out(crank, k, lost, healthy);
            else
                ++firing;
        }
        weigh(seen, healthy, doubt, prior, sum);
        if (firing < 2) return;
        const bool pairs = firing > 2 && firings_ <= kMostForPairs;
        for (int i = 0; i < firings_; ++i) {
            if (((seen.cut >> i) & 1U) != 0) continue;
            Phasors one = healthy;
            take_out(crank, i, lost, one);
            weigh(seen, one, doubt, prior + kDead, sum);
            for (int j = i + 1; j < firings_ && pairs; ++j) {
                if (((seen.cut >> j) & 1U) != 0) continue;
                Phasors two = one;
                take_out(crank, j, lost, two);
                weigh(seen, two, doubt, prior + 2.0 * kDead, sum);
            }
        }
    }

    void take_out(const Crank& crank, int k, const Phasors& lost, Phasors& sum) const noexcept {
        for (int h = 0; h < lines_; ++h) sum[at(h)] -= lost[at(h)] * crank.answer[at(k)][at(h)];
    }

    /// One explanation, for both signs. Its size is not known: the best one, and the one that gives all that is seen.
    void weigh(const Observation& seen, const Phasors& expected, const std::array<double, kLines>& doubt, double prior,
               Sum& sum) const noexcept {
        std::array<double, kLines> variance{};
        double seen2 = 0.0;
        double expected2 = 0.0;
        double product = 0.0;
        for (int h = 0; h < lines_; ++h) {
            const double place = kCommonPlace_rad * order(h);
            const double size2 = std::norm(expected[at(h)]);
            variance[at(h)] = doubt[at(h)] + (kCommonSize * kCommonSize + place * place) * size2;
            const double weight = 1.0 / variance[at(h)];
            seen2 += weight * std::norm(seen.mean[at(h)]);
            expected2 += weight * size2;
            product += weight * (expected[at(h)].real() * seen.mean[at(h)].real() +
                                 expected[at(h)].imag() * seen.mean[at(h)].imag());
        }
        if (!(expected2 > 0.0)) return;
        const double same = std::sqrt(seen2 / expected2);
        for (const double sign : {1.0, -1.0}) {
            const double best = std::max(sign * product / expected2, 0.3 * same);
            Terms& side = sign > 0.0 ? sum.right : sum.wrong;
            add_size(seen, expected, variance, sign, best, prior, side);
            add_size(seen, expected, variance, sign, same, prior, side);
        }
    }

    void add_size(const Observation& seen, const Phasors& expected, const std::array<double, kLines>& variance,
                  double sign, double size, double prior, Terms& side) const noexcept {
        double square = 0.0;
        double product = 1.0;
        for (int h = 0; h < lines_; ++h) {
            const double total = size * size * variance[at(h)] + 2.0 * seen.variance[at(h)];
            square += std::norm(sign * seen.mean[at(h)] - size * expected[at(h)]) / total;
            product *= total;
        }
        // Two components a line.
        side.add(prior - square - std::log(product), 2.0 * square);
    }

    int firings_ = 0;
    int lines_ = 0;
    int sensors_ = 0;
    double middle_hz_ = 300.0;
    double mode_spread_ = 0.5;
    std::array<double, kMaxCylinders> tdc_rad_{};
    std::array<std::array<float, kMaxCylinders>, 2> gain_{};
    std::array<std::array<std::complex<float>, kLines>, kShapes> fired_{};
    std::array<std::array<std::complex<float>, kLines>, kShapes> unfired_{};
};

}  // namespace kurbel
