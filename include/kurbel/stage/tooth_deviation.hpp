// One engine cycle of teeth against a crank that turns smoothly: where each tooth seems to stand.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"

namespace kurbel {

/// What two revolutions in a row said of the teeth.
struct CycleOfTeeth {
    double speed_rad_s = 0.0;
    double load = kUnknown;
    bool fires = true;
    double half_square =
        0.0;  ///< mean over the teeth of the square of half the difference between the revolutions, deg^2
    bool phase_known = false;  ///< it is known which of both holds cylinder 1's firing
};

/// Collects teeth from tooth 0 to tooth 0 two revolutions later. Smooth is a constant acceleration: the parabola over time
/// through tooth 0 at the cycle's ends and at the end before. All three are the same tooth at the same place of the engine cycle, so
/// that neither wheel error nor anything that repeats bends it. Both revolutions are averaged, which leaves integer orders alone.
/// A cycle with a tooth missing, an edge in doubt or a change of fuel says nothing. Periods are integer differences before any
/// floating point. No allocation; one object per stream.
template <class Real>
class ToothDeviation {
  public:
    /// `config` was validated.
    void configure(const Config& config) noexcept {
        teeth_ = config.crank_wheel.teeth;
        cycle_rad_ticks_ = 4.0 * std::numbers::pi * config.timer.hz;
        for (int j = 0; j < teeth_; ++j)
            wheel_deg_[at(j)] = static_cast<Real>(static_cast<double>(config.crank_wheel.angle_deg[at(j)]) -
                                                  static_cast<double>(config.crank_wheel.angle_deg[0]));
        reset();
    }

    void reset() noexcept {
        count_ = 0;
        before_ = 0;
    }

    /// Takes a tooth; true where it ends a cycle that says something: cycle() and seems_deg() then hold until the next push.
    /// `load` NaN where unknown; `fires`: no cylinder has its fuel cut; `spoilt`: what happens now must not be learned from.
    [[nodiscard]] bool push(const Tooth& tooth, Real load, bool fires, bool spoilt) noexcept {
        const bool follows = count_ > 0 && !tooth.restart && tooth.index == (last_ + 1 == teeth_ ? 0 : last_ + 1) &&
                             tooth.revolution - revolution_ == (tooth.index == 0 ? 1 : 0);
        if (!follows) {
            count_ = 0;
            before_ = 0;
        }
        last_ = tooth.index;
        revolution_ = tooth.revolution;
        bool whole = false;
        if (count_ == 2 * teeth_) {
            whole = end_cycle(tooth.tick);
            count_ = 0;
        }
        if (count_ == 0) {
            if (tooth.index != 0) return whole;
            begin_tick_ = tooth.tick;
            fires_ = fires;
            bad_ = false;
            second_first_ = tooth.half != 0;
            phase_known_ = tooth.phase_known;
            load_sum_ = 0;
        }
        if (fires != fires_ || spoilt) bad_ = true;
        if (!tooth.phase_known || (tooth.half != 0) == (second_first_ == (count_ >= teeth_))) phase_known_ = false;
        load_sum_ += load;
        since_[at(count_++)] = static_cast<Real>(tooth.tick - begin_tick_);
        return whole;
    }

    [[nodiscard]] const CycleOfTeeth& cycle() const noexcept { return cycle_; }
    /// How much farther on than told each tooth seems to stand, crank degrees, counted from tooth 0.
    [[nodiscard]] const std::array<Real, kMaxTeeth>& seems_deg() const noexcept { return seems_; }
    /// Half of how much farther on each seems to stand in the revolution that holds cylinder 1's firing than in the other.
    [[nodiscard]] const std::array<Real, kMaxTeeth>& half_deg() const noexcept { return half_; }

  private:
    /// A cycle that differs more in length from the one before was no constant acceleration.
    static constexpr double kMostChange = 0.06;

    [[nodiscard]] static constexpr std::size_t at(int i) noexcept { return static_cast<std::size_t>(i); }

    [[nodiscard]] bool end_cycle(std::int64_t tick) noexcept {
        const auto length = static_cast<double>(tick - begin_tick_);
        const double before = before_;
        before_ = length;
        if (bad_ || !(before > 0.0) || !(std::fabs(length - before) < kMostChange * length)) return false;
        const double bend = 720.0 * (before - length) * length / (before * (before + length));
        const Real inverse = static_cast<Real>(1.0 / length);
        const auto curve = static_cast<Real>(bend);
        Real apart = 0;
        for (int j = 0; j < teeth_; ++j) {
            const Real first = angle(since_[at(j)] * inverse, curve) - wheel_deg_[at(j)];
            const Real second = angle(since_[at(j + teeth_)] * inverse, curve) - wheel_deg_[at(j)] - Real(360);
            seems_[at(j)] = Real(0.5) * (first + second);
            half_[at(j)] = (second_first_ ? Real(-0.5) : Real(0.5)) * (first - second);
            apart += half_[at(j)] * half_[at(j)];
        }
        cycle_.speed_rad_s = cycle_rad_ticks_ / length;
        cycle_.load = static_cast<double>(load_sum_) / (2.0 * teeth_);
        cycle_.fires = fires_;
        cycle_.phase_known = phase_known_;
        cycle_.half_square = static_cast<double>(apart) / teeth_;
        return true;
    }

    /// The parabola: `x` is the share of the cycle's time that has passed.
    [[nodiscard]] static Real angle(Real x, Real bend) noexcept { return Real(720) * x + bend * x * (x - Real(1)); }

    int teeth_ = 0;
    int count_ = 0;
    int last_ = 0;
    bool fires_ = true;
    bool bad_ = false;
    bool second_first_ = false;
    bool phase_known_ = false;
    Real load_sum_ = 0;
    std::int64_t revolution_ = 0;
    std::int64_t begin_tick_ = 0;
    double before_ = 0.0;  // length of the cycle before, ticks; 0: none
    double cycle_rad_ticks_ = 0.0;
    CycleOfTeeth cycle_{};
    std::array<Real, kMaxTeeth> wheel_deg_{};
    std::array<Real, 2 * kMaxTeeth> since_{};
    std::array<Real, kMaxTeeth> seems_{};
    std::array<Real, kMaxTeeth> half_{};
};

}  // namespace kurbel
