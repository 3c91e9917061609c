// The published classic as a named alternative: roughness from segment periods over the cubed period.
#pragma once

#include <array>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/expected_work.hpp"
#include "kurbel/stage/firing_work.hpp"
#include "kurbel/stage/segmenter.hpp"

namespace kurbel {

/// LU_n = (T_n - T_{n-1})/T_n^3 - (T_{n+z} - T_{n-z})/(2 z T_n^3), T_n the period of the segment that begins at the firing's
/// TDC, z segments a cycle (Plapp, Klenk, Moser, SAE 900232, 1990; the span of the dynamic term is from memory). The
/// publication numbers the same difference by the segment before it; combustion acts early in the segment that begins at
/// its TDC, so here it bears the number of the firing that made it. The firing's lost work follows as segment angle
/// squared times LU, over inertia. A loss that lasts for the whole segment shows by half in each of two differences, so
/// twice that is given, and the acceleration likewise: 100 J lost at 800 rpm over 180 degrees, J = 0.15 kg m^2, give LU =
/// 32.09 and 30.31 1/s^2, that is 95 J and -202 rad/s^2 where -212 are true.
template <class Real>
class SegmentRoughness {
  public:
    void configure(const Config& config, const CycleGrid& grid) noexcept {
        grid_ = grid;
        hz_ = static_cast<Real>(config.timer.hz);
        rpm_ticks_ = static_cast<Real>(config.timer.hz * 60.0 * config.engine.cycle_deg() / 360.0);
        angle_rad_ = static_cast<Real>(to_rad(config.engine.cycle_deg()) / grid.firings);
        expected_.begin(config.engine);
        reset();
    }

    void reset() noexcept {
        count_ = 0;
        taken_ = 0;
        connected_ = 0;
        begun_ = false;
    }

    void push(const Bin<Real>& bin, Real load, std::uint32_t cut, bool frame_known) noexcept {
        frame_known_ = frame_known;
        if (bin.restart) {
            begun_ = false;
            connected_ = count_;
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
        const bool waits = !all && taken_ >= connected_;  // nothing will come to those before a loss
        if (taken_ + (waits ? z : 0) >= count_) return false;
        const Segment& here = at(taken_);
        firing = FiringWork<Real>{};
        firing.tdc_tick = here.tick;
        firing.bin = here.bin;
        firing.place = here.place;
        firing.phase_known = frame_known_;
        firing.cut = here.cut;
        firing.load = here.load;
        firing.expected = expected_.at(here.load);
        firing.complete = taken_ >= connected_ + z && taken_ + z < count_ && count_ - taken_ + z < kRing;
        firing.speed_rpm = rpm_ticks_ / (here.ticks * static_cast<Real>(z));
        if (firing.complete) {
            const Real trend = (at(taken_ + z).ticks - at(taken_ - z).ticks) / static_cast<Real>(2 * z);
            const Real step = here.ticks - at(taken_ - 1).ticks - trend;
            const Real roughness = step * hz_ * hz_ / (here.ticks * here.ticks * here.ticks);  // 1/s^2
            firing.acceleration = Real(-2) * angle_rad_ * roughness;
            firing.lost = -angle_rad_ * firing.acceleration / firing.expected;
            firing.lost_se = Real(0);
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
    Real angle_rad_ = 0;  // mean angle of a segment
    ExpectedWork<Real> expected_{};
    bool begun_ = false;
    bool frame_known_ = false;
    std::int64_t count_ = 0;
    std::int64_t taken_ = 0;
    std::int64_t connected_ = 0;  // first segment after the last loss
    Segment open_{};
    std::array<Segment, kRing> ring_{};
};

}  // namespace kurbel
