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
    static constexpr int kMaxBinsPerPush = kMaxBins;

    /// `config` was validated.
    void configure(const Config& config, const CycleGrid& grid) noexcept {
        bins_per_rev_ = static_cast<int>(std::lround(360.0 / grid.bin_deg));
        bin_deg_ = static_cast<Real>(grid.bin_deg);
        const double bin_rad = grid.bin_deg * std::numbers::pi / 180.0;
        energy_factor_ = static_cast<Real>(0.5 * (bin_rad * config.timer.hz) * (bin_rad * config.timer.hz));
        half_matters_ = config.engine.strokes != 2;
        wheel_ = config.crank_wheel;
        reset();
    }

    void reset() noexcept {
        connected_ = false;
        open_ = false;
        base_revolution_ = kNone;
        next_bin_ = 0;
    }

    /// Gives out the bins that `tooth` completes, in order: 0 for most teeth. `out` holds kMaxBinsPerPush.
    int push(const Tooth& tooth, Bin<Real>* out) noexcept {
        // Bin numbers begin one whole cycle early, so that a first TDC still to come leaves none negative.
        if (base_revolution_ == kNone) base_revolution_ = tooth.revolution - (half_matters_ ? tooth.half + 2 : 1);
        if (half_matters_) turn_ = ((tooth.revolution - base_revolution_ + tooth.half) & 1) != 0 ? bins_per_rev_ : 0;
        phase_known_ = tooth.phase_known || !half_matters_;
        const Real angle_deg = static_cast<Real>(wheel_.angle_deg[static_cast<std::size_t>(tooth.index)]);
        const std::int64_t revolution = tooth.revolution - base_revolution_;
        int given = 0;
        if (!connected_ || tooth.restart) {
            begin_after(revolution, angle_deg);
        } else {
            const Real step_deg =
                angle_deg - last_angle_deg_ + Real(360) * static_cast<Real>(revolution - last_revolution_);
            const Real period = static_cast<Real>(tooth.tick - last_tick_);
            Real to_boundary_deg = next_boundary_deg(revolution, angle_deg);
            while (to_boundary_deg <= Real(0) && given < kMaxBinsPerPush) {
                // The boundary lies `back` before this tooth, as a share of the tooth's period.
                const Real share = Real(1) + to_boundary_deg / step_deg;
                given += close(last_tick_, share * period, out + given);
                to_boundary_deg += bin_deg_;
            }
        }
        connected_ = true;
        last_tick_ = tooth.tick;
        last_angle_deg_ = angle_deg;
        last_revolution_ = revolution;
        return given;
    }

  private:
    /// Crank degrees from this tooth to the next boundary not yet passed; negative or zero: passed by this tooth.
    [[nodiscard]] Real next_boundary_deg(std::int64_t revolution, Real angle_deg) const noexcept {
        // Whole revolutions are taken out in integers, so the angle keeps its digits however long the stream is.
        const std::int64_t boundary_revolution = next_bin_ / bins_per_rev_;
        const Real within = static_cast<Real>(next_bin_ - boundary_revolution * bins_per_rev_) * bin_deg_;
        return within + Real(360) * static_cast<Real>(boundary_revolution - revolution) - (angle_deg - tdc1_deg());
    }

    [[nodiscard]] Real tdc1_deg() const noexcept { return static_cast<Real>(wheel_.tdc1_deg); }

    /// After a loss: the next boundary is the first one after this tooth, and no bin is open.
    void begin_after(std::int64_t revolution, Real angle_deg) noexcept {
        const Real places = (angle_deg - tdc1_deg()) / bin_deg_;
        const std::int64_t first = revolution * bins_per_rev_ + static_cast<std::int64_t>(std::floor(places)) + 1;
        // Bin numbers never fall, and start at 0 or above also where the first TDC is still to come.
        next_bin_ = first > next_bin_ ? first : next_bin_;
        open_ = false;
    }

    /// Passes one boundary, `after` ticks behind `tick`; gives the bin that ends there.
    int close(std::int64_t tick, Real after, Bin<Real>* out) noexcept {
        int given = 0;
        if (open_) {
            const Real ticks = static_cast<Real>(tick - begin_tick_) + (after - begin_after_);
            out->index = next_bin_ - 1;
            out->begin_tick = begin_tick_ + static_cast<std::int64_t>(begin_after_);
            out->ticks = ticks;
            out->energy = energy_factor_ / (ticks * ticks);
            out->turn = turn_;
            out->restart = restarted_;
            out->phase_known = phase_known_;
            restarted_ = false;
            given = 1;
        } else {
            restarted_ = true;
        }
        open_ = true;
        begin_tick_ = tick;
        begin_after_ = after;
        ++next_bin_;
        return given;
    }

    static constexpr std::int64_t kNone = INT64_MIN;

    WheelConfig wheel_{};
    Real bin_deg_ = 0;
    Real energy_factor_ = 0;
    int bins_per_rev_ = 1;
    int turn_ = 0;
    bool half_matters_ = true;
    bool phase_known_ = false;
    bool connected_ = false;  // a tooth has been seen since the last loss
    bool open_ = false;       // a bin has begun
    bool restarted_ = false;  // the next bin is the first after a loss
    std::int64_t base_revolution_ = kNone;
    std::int64_t last_revolution_ = 0;
    std::int64_t last_tick_ = 0;
    std::int64_t begin_tick_ = 0;
    std::int64_t next_bin_ = 0;  // boundary that begins this bin comes next
    Real last_angle_deg_ = 0;
    Real begin_after_ = 0;
};

}  // namespace kurbel
