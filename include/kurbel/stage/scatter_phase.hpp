// Where in the cycle work varies: behind firing TDCs, and so which revolution is the firing one.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/cycle_grid.hpp"

namespace kurbel {

/// Mean and scatter of numbers that speak for one side or the other; old ones fade.
class Votes {
  public:
    void clear() noexcept { *this = Votes{}; }

    /// `vote` from -1 to 1.
    void add(double vote) noexcept {
        constexpr double kForget = 1.0 / 512.0;
        const double keep = weight_ * kForget < 1.0 ? 1.0 : 1.0 - kForget;
        weight_ = keep * weight_ + 1.0;
        const double off = vote - mean_;
        mean_ += off / weight_;
        square_ = keep * square_ + off * (vote - mean_);
    }

    [[nodiscard]] double count() const noexcept { return weight_; }
    [[nodiscard]] double mean() const noexcept { return mean_; }

    /// The mean in standard errors, as a normal deviate (Student; Wallace 1959, value from memory); 0 with fewer than 6.
    /// Single votes are not taken to scatter less than `least_scatter`.
    [[nodiscard]] double deviate(double least_scatter) const noexcept {
        if (weight_ < 6.0) return 0.0;
        const double freedom = weight_ - 1.0;
        const double variance = std::fmax(square_ / freedom, least_scatter * least_scatter);
        const double t_squared = mean_ * mean_ * weight_ / variance;
        const double size =
            (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0) * std::sqrt(freedom * std::log1p(t_squared / freedom));
        return mean_ > 0.0 ? size : -size;
    }

  private:
    double weight_ = 0.0;
    double mean_ = 0.0;
    double square_ = 0.0;
};

/// A second witness for engines of an odd number of evenly firing cylinders, at speeds where torsion hides what
/// their firing order says.
///
/// Combustion varies from cycle to cycle, and now and then one is lost. What a step of energy differs by from the same
/// one cycle before is that variation, and it comes in the 90 degrees behind firing TDCs, which lie half a
/// firing interval away if counted from the wrong revolution. Two things are counted: where in the interval the squared
/// difference lies, cycle by cycle; and where single losses lie that stand out. Wheel error is the same in every cycle; edge
/// noise repeats each revolution and so speaks for both alike. Torsion hardly matters, for only motion below the safe
/// frequency is looked at: half of the first mode that is to be feared (200 Hz at 86 mm bore), three quarters where the
/// sensor sits at the flywheel, which has no node below the first mode. Engineering ranges, from memory.
template <class Real>
class ScatterPhase {
  public:
    /// `config` was validated; `bins` even bins of one cycle, at most kMaxBins.
    void configure(const Config& config, int bins) noexcept {
        const EngineConfig& engine = config.engine;
        bins_ = bins;
        reach_ = bins / 2;
        able_ = engine.cylinders >= 3 && engine.cylinders % 2 == 1 && engine.strokes == 4;
        for (int i = 0; i < engine.cylinders; ++i)
            able_ = able_ &&
                    std::fabs(engine.firing_tdc_deg[static_cast<std::size_t>(i)] - i * 720.0 / engine.cylinders) < 0.5;
        order_ = 0.5 * engine.cylinders;
        const double feared_hz = engine.bore_mm > 0.0 ? 200.0 * 86.0 / engine.bore_mm : 170.0;
        safe_hz_ = (config.crank_wheel.at == SensorAt::flywheel ? 0.75 : 0.45) * feared_hz;
        reset();
    }

    void reset() noexcept {
        ring_.fill(0);
        cycles_.clear();
        losses_.clear();
        together_ = 0;
        sum_ = 0;
        weight_ = 0;
        filled_ = 0;
        newest_ = 0;
        speed_rpm_ = 0.0;
        scale_ = 0;
        last_loss_ = kLongAgo;
    }

    /// Takes, for the bin at `place` (0 to bins - 1, in order, without a break), the step of energy into it less the same
    /// one cycle before; and the speed. A pattern that changes slowly is gone from that. NaN is not allowed.
    void push(int place, Real change, double speed_rpm) noexcept {
        if (!able_) return;
        if (place == 0) begin_cycle(speed_rpm);
        ring_[index(newest_)] = static_cast<float>(change);
        newest_ = (newest_ + 1) % (2 * reach_ + 1);
        if (cut_order_ <= 0.0) return;
        if (filled_ < 2 * reach_ + 1) {
            ++filled_;
            return;
        }
        look((place - reach_ + bins_) % bins_, filtered());
    }

    /// Natural log of the odds for the assumed revolution.
    [[nodiscard]] double log_odds() const noexcept {
        return log_odds_of(cycles_.deviate(0.02)) + log_odds_of(losses_.deviate(0.35));
    }

    [[nodiscard]] const Votes& cycles() const noexcept { return cycles_; }
    [[nodiscard]] const Votes& losses() const noexcept { return losses_; }

  private:
    static constexpr int kTogether = 4;          ///< cycles that make one vote: neighbours are not independent
    static constexpr double kCentre_deg = 35.0;  ///< of the work of combustion, after TDC
    static constexpr double kLowest_order = 0.35;
    static constexpr Real kStandsOut = Real(5);  ///< in mean absolute deviations
    static constexpr int kLongAgo = 1 << 20;

    [[nodiscard]] static std::size_t index(int i) noexcept { return static_cast<std::size_t>(i); }

    /// ln of P(normal < t) / P(normal > t), for both signs of t; its tail by the usual approximation.
    [[nodiscard]] static double log_odds_of(double t) noexcept {
        const double size = std::fabs(t);
        const double odds = 0.5 * size * size + std::log1p(2.5 * size) - 0.9 * size / (1.0 + size);
        return t > 0.0 ? odds : -odds;
    }

    void begin_cycle(double speed_rpm) noexcept {
        if (++together_ >= kTogether) {
            if (weight_ > Real(0)) cycles_.add(static_cast<double>(sum_ / weight_));
            together_ = 0;
            sum_ = 0;
            weight_ = 0;
        }
        if (std::fabs(speed_rpm - speed_rpm_) > 0.1 * speed_rpm_) make_filter(speed_rpm);
    }

    /// Linear-phase band pass from kLowest_order to what is safe at this speed: Hamming-windowed sinc.
    void make_filter(double speed_rpm) noexcept {
        speed_rpm_ = speed_rpm;
        const double safe_order = safe_hz_ * 60.0 / speed_rpm;
        cut_order_ = std::min(0.8 * order_, safe_order);
        // Squares of what is seen reach twice as high; below that, single losses alone tell.
        squares_tell_ = cut_order_ >= 0.5 * order_ + 0.1;
        if (cut_order_ < 2.0 * kLowest_order) cut_order_ = 0.0;
        const double per_bin = 2.0 / bins_;  // revolutions
        for (int j = 0; j <= reach_; ++j) {
            const double window = 0.54 + 0.46 * std::cos(std::numbers::pi * j / (reach_ + 1));
            const double x = 2.0 * std::numbers::pi * per_bin * j;
            const double ideal =
                j == 0 ? 2.0 * per_bin * (cut_order_ - kLowest_order)
                       : (std::sin(cut_order_ * x) - std::sin(kLowest_order * x)) / (std::numbers::pi * j);
            tap_[index(j)] = static_cast<float>(window * ideal);
        }
    }

    /// The deviation `reach_` bins ago, low-passed.
    [[nodiscard]] Real filtered() const noexcept {
        const int size = 2 * reach_ + 1;
        Real sum = 0;
        int at = newest_;  // the oldest
        for (int j = -reach_; j <= reach_; ++j) {
            sum += static_cast<Real>(tap_[index(j < 0 ? -j : j)]) * static_cast<Real>(ring_[index(at)]);
            if (++at == size) at = 0;
        }
        return sum;
    }

    /// +1 in the middle of the work behind a firing TDC, -1 half an interval away.
    [[nodiscard]] double side(double place) const noexcept {
        return std::cos(order_ * (place * 4.0 * std::numbers::pi / bins_ - to_rad(kCentre_deg)));
    }

    void look(int place, Real value) noexcept {
        if (squares_tell_) {
            const Real square = value * value;
            sum_ += square * static_cast<Real>(side(place));
            weight_ += square;
        }
        find_loss(place, -value);
    }

    /// A loss is a peak that stands out. One cycle later its difference has the other sign: then nothing is looked for.
    void find_loss(int place, Real value) noexcept {
        const bool peak = peak_ > before_ && peak_ >= value;
        last_loss_ = std::min(last_loss_ + 1, kLongAgo);
        if (peak && scale_ > Real(0) && peak_ > kStandsOut * scale_) {
            const Real bend = before_ - Real(2) * peak_ + value;
            const Real shift = bend < Real(0) ? Real(0.5) * (before_ - value) / bend : Real(0);
            if (last_loss_ > bins_ + bins_ / 4)
                losses_.add(side(static_cast<double>(place - 1) + static_cast<double>(shift)));
            last_loss_ = 0;
        }
        before_ = peak_;
        peak_ = value;
        const Real size = std::fabs(value);
        // Bounded, so that losses do not count as ordinary.
        const Real ordinary = scale_ > Real(0) ? std::min(size, Real(3) * scale_) : size;
        scale_ += (ordinary - scale_) / Real(128);
    }

    std::array<float, kMaxBins / 2 + 1> tap_{};
    std::array<float, kMaxBins + 1> ring_{};
    Votes cycles_{};
    Votes losses_{};
    double order_ = 0.0;
    double safe_hz_ = 0.0;
    double cut_order_ = 0.0;
    double speed_rpm_ = 0.0;
    Real sum_ = 0;
    Real weight_ = 0;
    Real peak_ = 0;
    Real before_ = 0;
    Real scale_ = 0;
    int bins_ = 0;
    int reach_ = 0;
    int together_ = 0;
    int filled_ = 0;
    int newest_ = 0;
    int last_loss_ = kLongAgo;
    bool squares_tell_ = false;
    bool able_ = false;
};

}  // namespace kurbel
