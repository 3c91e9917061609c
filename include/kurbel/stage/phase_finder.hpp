// Which revolution of a four-stroke cycle is the firing one, told by the crank's own motion: for engines without a cam.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/half_order_model.hpp"
#include "kurbel/stage/half_turn.hpp"
#include "kurbel/stage/scatter_phase.hpp"

namespace kurbel {

/// Tells whether bins are counted from the right revolution, for engines whose firing angles moved by 360 degrees are
/// another set (single, I3, I5, odd-fire twins and sixes).
///
/// Method: the steps of energy from bin to bin are torque over inertia. Their half orders (0.5, 1.5, ... per revolution)
/// are averaged over cycles at about one speed and compared with what compression and combustion of the cylinders would
/// give from either revolution (HalfOrderModel). Wheel error, reciprocating inertia and everything else that repeats
/// each revolution has no half orders, and a linear trend has none either.
///
/// Where torsion hides which sign an order has, what differs from one cycle to the next tells also (ScatterPhase).
///
/// Decision: one revolution is told where it is e^kDecided times likelier than the other; else it stays undecided.
/// Where no explanation fits what is seen as well as it should, its errors are taken to be larger in that measure, and
/// the evidence smaller. To take back what was told needs twice the evidence.
///
/// No allocation; one object per stream; a copy is a snapshot.
template <class Real>
class PhaseFinder {
  public:
    enum class Answer : std::uint8_t {
        undecided,  ///< not enough seen, or nothing to be seen
        right,      ///< bins are counted from the right revolution
        flipped     ///< they are one revolution off
    };

    static constexpr int kMostBins = 48;      ///< bins of one cycle
    static constexpr double kDecided = 16.0;  ///< natural log of the odds: ten million to one

    /// `config` was validated; `bins` even bins of one cycle, the first beginning at cylinder 1's assumed firing TDC.
    /// Two-strokes, engines that are symmetric under 360 degrees, and grids of fewer than 6 bins are never decided.
    void configure(const Config& config, int bins) noexcept {
        bins_ = bins;
        able_ = config.engine.strokes == 4 && !symmetric_under_360(config.engine) && bins >= 6 && bins <= kMostBins &&
                bins % 2 == 0;
        if (able_) {
            model_.configure(config, bins);
            scatter_.configure(config, bins);
        }
        bin_speed_rpm_ = std::sqrt(2.0) * 30.0 / std::numbers::pi;
        for (int h = 0; h < kLines; ++h) turn_[index(h)] = std::polar(1.0, -(h + 0.5) * 4.0 * std::numbers::pi / bins);
        reset();
    }

    void reset() noexcept {
        connected_ = false;
        told_ = false;
        break_off();
        forget();
    }

    /// Takes the energy (half of speed squared, rad^2/s^2) of the bin at `place`, 0 to bins - 1, in order; `connected`
    /// = false where the bin does not follow the one before: then all is forgotten. `cut`: bit k says that the fuel of
    /// the cylinder at place k of the firing order is cut. A cycle with a NaN counts for nothing.
    void push(int place, Real energy, bool connected, std::uint32_t cut) noexcept {
        if (!able_) return;
        // After a loss the revolutions are counted anew, perhaps from the other half: nothing learned before holds.
        if (!connected) reset();
        const bool stepped = connected_ && energy > Real(0);
        const Real step = energy - last_energy_;
        last_energy_ = energy;
        connected_ = energy > Real(0);
        if (!stepped || place != expected_place_) break_off();
        if (!stepped || place != expected_place_) return;
        if (place == 0) begin_cycle(cut);
        if (whole_ && !told_) scatter_.push(place, step - step_[index(place)], cycle_speed_rpm_);
        step_[index(place)] = step;
        sum_ += energy;
        highest_ = std::max(highest_, energy);
        steady_cut_ = steady_cut_ && cut == cycle_cut_;
        if (++expected_place_ < bins_) return;
        expected_place_ = 0;
        take_cycle();
    }

    [[nodiscard]] Answer answer() const noexcept {
        const double needed = told_ ? 2.0 * kDecided : kDecided;
        if (std::fabs(log_odds()) < needed) return Answer::undecided;
        return log_odds_ > 0.0 ? Answer::right : Answer::flipped;
    }

    /// Natural log of the odds for the assumed revolution, as of the last cycle.
    [[nodiscard]] double log_odds() const noexcept { return log_odds_; }
    /// How badly the best explanation fits, 1 = as well as expected.
    [[nodiscard]] double misfit() const noexcept { return odds_.misfit; }
    /// Cycles that the averages hold (slowly forgotten).
    [[nodiscard]] double cycles() const noexcept { return weight_; }

    /// The answer was followed: what was `flipped` is now counted rightly.
    void follow() noexcept {
        if (log_odds_ < 0.0) {
            for (Phasor& mean : mean_) mean = -mean;
            odds_.log_odds = -odds_.log_odds;
            log_odds_ = -log_odds_;
            break_off();
        }
        // Both witnesses have spoken; from now on one of them listens.
        scatter_.reset();
        told_ = true;
    }

  private:
    using Phasor = HalfOrderModel::Phasor;
    static constexpr int kLines = HalfOrderModel::kLines;
    static constexpr double kForget = 1.0 / 64.0;   ///< weight of a new cycle once many were seen
    static constexpr double kMostByScatter = 20.0;  ///< log odds
    static constexpr int kFewestCycles = 4;
    static constexpr int kMostBetweenLooks = 32;  ///< cycles from one look to the next while undecided
    static constexpr int kBetweenLooksOnceTold = 256;

    [[nodiscard]] static std::size_t index(int i) noexcept { return static_cast<std::size_t>(i); }

    /// The next cycle does not follow the one before.
    void break_off() noexcept {
        expected_place_ = 0;
        whole_ = false;
        scatter_.reset();
    }

    void forget() noexcept {
        weight_ = 0.0;
        speed_rpm_ = 0.0;
        mean_.fill({});
        square_.fill(0.0);
        odds_ = {};
        log_odds_ = 0.0;
        since_look_ = 0;
    }

    /// Share by which a cycle's speed may differ from the mean. Torsion adds about 2 (f / 200 Hz)^2 at order 2.5; that
    /// may change by 0.15.
    [[nodiscard]] static double same_speed(double speed_rpm) noexcept {
        const double share = 4800.0 / std::fmax(speed_rpm, 1.0);
        return std::clamp(0.0375 * share * share, 0.15, 0.5);
    }

    void begin_cycle(std::uint32_t cut) noexcept {
        // What was inhaled before a change of fuel is still to burn: that cycle says neither.
        steady_cut_ = cut == cycle_cut_;
        cycle_cut_ = cut;
        sum_ = Real(0);
        highest_ = Real(0);
    }

    void take_cycle() noexcept {
        const Real energy = sum_ / static_cast<Real>(bins_);
        // A crank that nearly stands in some bins has no energy there to speak of .
        const bool turns = highest_ < Real(2.5) * energy;
        const double speed_rpm = bin_speed_rpm_ * std::sqrt(static_cast<double>(energy));
        cycle_speed_rpm_ = speed_rpm;
        whole_ = true;
        if (!turns || !steady_cut_) return;
        if (cycle_cut_ != seen_cut_ || std::fabs(speed_rpm - speed_rpm_) > same_speed(speed_rpm_) * speed_rpm_)
            forget();
        seen_cut_ = cycle_cut_;
        learn(speed_rpm);
        const int pause = told_ ? kBetweenLooksOnceTold : std::min(kMostBetweenLooks, static_cast<int>(weight_) / 4);
        if (weight_ >= kFewestCycles && ++since_look_ >= pause) look();
        log_odds_ = odds_.log_odds / std::fmax(1.0, odds_.misfit) +
                    std::clamp(scatter_.log_odds(), -kMostByScatter, kMostByScatter);
    }

    /// Half order `line` of the cycle's steps.
    [[nodiscard]] Phasor half_order(int line) const noexcept {
        // Half a cycle on, a half order has the other sign. Horner's scheme, last step first.
        const Phasor turn = turn_[index(line)];
        Phasor sum{};
        for (int b = bins_ / 2 - 1; b >= 0; --b)
            sum = sum * turn + static_cast<double>(step_[index(b)] - step_[index(b + bins_ / 2)]);
        return sum / static_cast<double>(bins_);
    }

    /// Running means and sums of squares; old cycles fade once there are many.
    void learn(double speed_rpm) noexcept {
        const double keep = weight_ * kForget < 1.0 ? 1.0 : 1.0 - kForget;
        weight_ = keep * weight_ + 1.0;
        speed_rpm_ += (speed_rpm - speed_rpm_) / weight_;
        for (int h = 0; h < model_.lines(); ++h) {
            const Phasor seen = half_order(h);
            const Phasor off = seen - mean_[index(h)];
            mean_[index(h)] += off / weight_;
            const Phasor left = seen - mean_[index(h)];
            square_[index(h)] = keep * square_[index(h)] + off.real() * left.real() + off.imag() * left.imag();
        }
    }

    void look() noexcept {
        since_look_ = 0;
        HalfOrderModel::Observation seen;
        seen.mean = mean_;
        seen.speed_rpm = speed_rpm_;
        seen.cycles = weight_;
        seen.cut = seen_cut_;
        // Few cycles do not know their own scatter.
        const double few = 1.0 + 8.0 / weight_;
        for (int h = 0; h < model_.lines(); ++h)
            seen.variance[index(h)] = few * square_[index(h)] / (2.0 * (weight_ - 1.0) * weight_);
        odds_ = model_.compare(seen);
    }

    HalfOrderModel model_{};
    ScatterPhase<Real> scatter_{};
    HalfOrderModel::Odds odds_{};
    HalfOrderModel::Phasors turn_{};  ///< one bin on, of each half order
    HalfOrderModel::Phasors mean_{};
    std::array<double, kLines> square_{};  ///< both components
    std::array<Real, kMostBins> step_{};
    double log_odds_ = 0.0;
    double weight_ = 0.0;
    double speed_rpm_ = 0.0;        ///< mean of those cycles
    double cycle_speed_rpm_ = 0.0;  ///< of the last one
    double bin_speed_rpm_ = 0.0;
    Real last_energy_ = 0;
    Real sum_ = 0;
    Real highest_ = 0;
    std::int32_t bins_ = 0;
    std::int32_t expected_place_ = 0;
    std::int32_t since_look_ = 0;
    std::uint32_t cycle_cut_ = 0;
    std::uint32_t seen_cut_ = 0;
    bool steady_cut_ = false;
    bool connected_ = false;
    bool whole_ = false;  ///< step_ holds the cycle before
    bool told_ = false;
    bool able_ = false;
};

}  // namespace kurbel
