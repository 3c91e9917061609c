// Teeth in, kinetic energy in equal bins of crank angle out.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/stage/cycle_grid.hpp"

namespace kurbel {

/// Kinetic energy of one bin of crank angle.
template <class Real>
struct Bin {
    std::int64_t index = 0;       ///< bins since the stream began, never falls; a loss leaves a jump
    std::int64_t begin_tick = 0;  ///< when the bin began, whole ticks
    Real ticks = 0;               ///< how long it lasted, ticks
    Real energy = 0;              ///< half of speed squared, rad^2/s^2: kinetic energy over inertia
    std::int32_t turn =
        0;  ///< (index + turn) mod CycleGrid::bins is the place in the cycle, from cylinder 1's firing TDC
    bool restart = false;      ///< the bin before this one is not connected to it
    bool phase_known = false;  ///< that place is known; else it may be half a cycle off
};

/// Cuts the stream of teeth into the bins of a CycleGrid. A boundary between two teeth is placed by linear interpolation;
/// what that bends in the wide gap repeats every revolution and is learned with the wheel's own errors. Periods are integer
/// differences before any floating point. No allocation; one object per stream.
template <class Real>
class Segmenter {
  public:
    /// `config` was validated.
    void configure(const Config& config, const CycleGrid& grid) noexcept {
        bins_per_rev_ = static_cast<int>(std::lround(360.0 / grid.bin_deg));
        bin_deg_ = static_cast<Real>(grid.bin_deg);
        const double bin_rad = grid.bin_deg * std::numbers::pi / 180.0;
        energy_factor_ = static_cast<Real>(0.5 * (bin_rad * config.timer.hz) * (bin_rad * config.timer.hz));
        half_matters_ = config.engine.strokes != 2;
        for (int i = 0; i < config.crank_wheel.teeth; ++i)
            wheel_deg_[static_cast<std::size_t>(i)] =
                static_cast<Real>(config.crank_wheel.angle_deg[static_cast<std::size_t>(i)]);
        // Where the wheel was learned, teeth count as where they stand, not as where they should.
        for (int i = 0; i < config.wheel_errors.teeth; ++i)
            wheel_deg_[static_cast<std::size_t>(i)] +=
                static_cast<Real>(config.wheel_errors.error_deg[static_cast<std::size_t>(i)]);
        tdc1_deg_ = static_cast<Real>(config.crank_wheel.tdc1_deg);
        reset();
    }

    void reset() noexcept {
        connected_ = false;
        open_ = false;
        base_revolution_ = kNone;
        next_bin_ = 0;
    }

    /// Hands the bins that `tooth` completes to `sink(const Bin<Real>&)`, in order: none for most teeth.
    template <class Sink>
    void push(const Tooth& tooth, Sink&& sink) noexcept {
        if (!connected_ || tooth.restart) [[unlikely]] {
            begin_at(tooth);
            return;
        }
        const Real angle_deg = wheel_deg_[static_cast<std::size_t>(tooth.index)];
        const std::int64_t revolution = tooth.revolution - base_revolution_;
        // Whole revolutions are taken out in integers, so the angle keeps its digits however long the stream is.
        const Real turns = static_cast<Real>(boundary_revolution_ - revolution);
        const Real to_boundary_deg = boundary_deg_ - angle_deg + Real(360) * turns;
        if (to_boundary_deg <= Real(0)) cross(tooth, angle_deg, revolution, to_boundary_deg, sink);
        remember(tooth.tick, angle_deg, revolution);
    }

  private:
    void remember(std::int64_t tick, Real angle_deg, std::int64_t revolution) noexcept {
        last_tick_ = tick;
        last_angle_deg_ = angle_deg;
        last_revolution_ = revolution;
    }

    /// A tooth at or behind the next boundary, three in four are not: a function of its own, so that those do not pay for what it needs.
    template <class Sink>
    [[gnu::noinline]] void cross(const Tooth& tooth, Real angle_deg, std::int64_t revolution, Real to_boundary_deg,
                                 Sink& sink) noexcept {
        if (half_matters_) turn_ = ((revolution + tooth.half) & 1) != 0 ? bins_per_rev_ : 0;
        phase_known_ = tooth.phase_known || !half_matters_;
        const Real step_deg =
            angle_deg - last_angle_deg_ + Real(360) * static_cast<Real>(revolution - last_revolution_);
        const Real period = static_cast<Real>(tooth.tick - last_tick_);
        for (; to_boundary_deg <= Real(0); to_boundary_deg += bin_deg_) {
            // The boundary lies this share of the tooth's period behind the last tooth.
            const Real share = Real(1) + to_boundary_deg / step_deg;
            close(share * period, sink);
        }
    }

    /// After a loss: the next boundary is the first one after this tooth, and no bin is open.
    [[gnu::noinline]] void begin_at(const Tooth& tooth) noexcept {
        // Bin numbers begin one whole cycle early, so that a first TDC still to come leaves none negative.
        if (base_revolution_ == kNone) base_revolution_ = tooth.revolution - (half_matters_ ? tooth.half + 2 : 1);
        const Real angle_deg = wheel_deg_[static_cast<std::size_t>(tooth.index)];
        const std::int64_t revolution = tooth.revolution - base_revolution_;
        const auto places = static_cast<std::int64_t>(std::floor((angle_deg - tdc1_deg_) / bin_deg_));
        const std::int64_t first = revolution * bins_per_rev_ + places + 1;
        // Bin numbers never fall, and start at 0 or above also where the first TDC is still to come.
        next_bin_ = first > next_bin_ ? first : next_bin_;
        boundary_revolution_ = next_bin_ / bins_per_rev_;
        bin_in_revolution_ = static_cast<int>(next_bin_ % bins_per_rev_);
        place_boundary();
        open_ = false;
        connected_ = true;
        remember(tooth.tick, angle_deg, revolution);
    }

    void place_boundary() noexcept { boundary_deg_ = static_cast<Real>(bin_in_revolution_) * bin_deg_ + tdc1_deg_; }

    /// Passes one boundary, `after` ticks behind the last tooth; hands over the bin that ends there.
    template <class Sink>
    void close(Real after, Sink& sink) noexcept {
        Bin<Real> bin;
        if (open_) {
            bin.index = next_bin_ - 1;
            bin.begin_tick = begin_tick_ + static_cast<std::int64_t>(begin_after_);
            bin.ticks = static_cast<Real>(last_tick_ - begin_tick_) + (after - begin_after_);
            bin.energy = energy_factor_ / (bin.ticks * bin.ticks);
            bin.turn = turn_;
            bin.restart = restarted_;
            bin.phase_known = phase_known_;
        }
        const bool whole = open_;
        restarted_ = !open_;
        open_ = true;
        begin_tick_ = last_tick_;
        begin_after_ = after;
        ++next_bin_;
        if (++bin_in_revolution_ == bins_per_rev_) {
            bin_in_revolution_ = 0;
            ++boundary_revolution_;
        }
        place_boundary();
        if (whole) sink(bin);
    }

    static constexpr std::int64_t kNone = INT64_MIN;

    Real tdc1_deg_ = 0;
    Real bin_deg_ = 0;
    Real energy_factor_ = 0;
    Real boundary_deg_ = 0;  // of the next boundary, in its revolution
    int bins_per_rev_ = 1;
    int bin_in_revolution_ = 0;
    int turn_ = 0;
    bool half_matters_ = true;
    bool phase_known_ = false;
    bool connected_ = false;  // a tooth has been seen since the last loss
    bool open_ = false;       // a bin has begun
    bool restarted_ = false;  // the next bin is the first after a loss
    std::int64_t base_revolution_ = kNone;
    std::int64_t last_revolution_ = 0;
    std::int64_t boundary_revolution_ = 0;
    std::int64_t last_tick_ = 0;
    std::int64_t begin_tick_ = 0;
    std::int64_t next_bin_ = 0;  // boundary that begins this bin comes next
    Real last_angle_deg_ = 0;
    Real begin_after_ = 0;
    std::array<Real, kMaxTeeth> wheel_deg_{};
};

}  // namespace kurbel
