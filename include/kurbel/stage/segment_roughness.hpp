// The published classic as a named alternative: roughness from segment periods over the cubed period.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>

#include "kurbel/core/config.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/segmenter.hpp"
#include "kurbel/stage/work_estimator.hpp"

namespace kurbel {

/// LU_n = (T_{n+1} - T_n)/T_n^3 - (T_{n+z} - T_{n-z})/(2 z T_n^3), T the period of the segment from one firing TDC to the
/// next, z segments a cycle (Plapp, Klenk, Moser, SAE 900232, 1990; the span of the dynamic term is from memory).
/// A firing's lost work follows as segment angle squared times LU, over inertia; the worked case of 100 J lost at 800 rpm
/// shows half of the drop in each of two differences, so twice that is given.
template <class Real>
class SegmentRoughness {
  public:
    void configure(const Config& config, const CycleGrid& grid) noexcept {
        grid_ = grid;
        hz_ = static_cast<Real>(config.timer.hz);
        rpm_ticks_ = static_cast<Real>(config.timer.hz * 60.0 * config.engine.cycle_deg() / 360.0);
        full_work_ = static_cast<Real>(WorkEstimator<Real>::work_at_full_charge(config.engine));
        reset();
    }

    void reset() noexcept {
        count_ = 0;
        taken_ = 0;
        begun_ = false;
    }

    void push(const Bin<Real>& bin, Real load, std::uint32_t cut, bool frame_known) noexcept {
        frame_known_ = frame_known;
        if (bin.restart) {
            begun_ = false;
            count_ = taken_ = 0;
        }
        const int place = grid_.firing_at[static_cast<std::size_t>((bin.index + bin.turn) % grid_.bins)];
        if (place < 0) return;
        if (begun_) {
            Segment& done = at(count_++);
            done = open_;
            done.ticks = static_cast<Real>(bin.begin_tick - open_.tick);
            if (count_ - taken_ > kRing - 1) taken_ = count_ - (kRing - 1);
        }
        open_ = Segment{bin.begin_tick, bin.index, place, load, ((cut >> place) & 1U) != 0, 0};
        begun_ = true;
    }

    [[nodiscard]] bool take(FiringWork<Real>& firing, bool all = false) noexcept {
        const int z = grid_.firings;
        if (taken_ + (all ? 0 : z) >= count_) return false;
        const Segment& here = at(taken_);
        firing = FiringWork<Real>{};
        firing.tdc_tick = here.tick;
        firing.bin = here.bin;
        firing.place = here.place;
        firing.phase_known = frame_known_;
        firing.cut = here.cut;
        firing.load = here.load;
        firing.expected = full_work_ * WorkEstimator<Real>::useful_charge(here.load);
        firing.complete = taken_ >= z && taken_ + z < count_ && count_ - taken_ + z < kRing;
        firing.speed_rpm = rpm_ticks_ / (here.ticks * static_cast<Real>(z));
        if (firing.complete) {
            // Combustion acts early in the segment that begins at its TDC, so the step into that segment is its own.
            const Real before = at(taken_ - 1).ticks;
            const Real per_period3 = hz_ * hz_ / (before * before * before);
            const Real step = here.ticks - before;
            const Real trend = (at(taken_ + z).ticks - at(taken_ - z).ticks) / static_cast<Real>(2 * z);
            const Real angle_rad = Real(4) * std::numbers::pi_v<Real> / static_cast<Real>(z);
            const Real roughness = (step - trend) * per_period3;  // 1/s^2
            firing.lost = Real(2) * angle_rad * angle_rad * roughness / firing.expected;
            firing.lost_se = Real(0);
            firing.acceleration = -angle_rad * roughness;
        }
        return true;
    }

    void learn() noexcept { ++taken_; }

  private:
    static constexpr int kRing = 4 * kMaxCylinders;

    struct Segment {
        std::int64_t tick = 0;
        std::int64_t bin = 0;
        int place = 0;
        Real load = 0;
        bool cut = false;
        Real ticks = 0;
    };

    [[nodiscard]] Segment& at(std::int64_t i) noexcept { return ring_[static_cast<std::size_t>(i) % kRing]; }

    CycleGrid grid_{};
    Real hz_ = 1;
    Real rpm_ticks_ = 0;
    Real full_work_ = 0;
    bool begun_ = false;
    bool frame_known_ = false;
    std::int64_t count_ = 0;
    std::int64_t taken_ = 0;
    Segment open_{};
    std::array<Segment, kRing> ring_{};
};

}  // namespace kurbel
