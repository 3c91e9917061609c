// The kinds of response that a lost combustion may have, as physics tells them before any misfire was seen.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "kurbel/core/config.hpp"
#include "kurbel/core/slider_crank.hpp"
#include "kurbel/stage/cycle_grid.hpp"
#include "kurbel/stage/learned_response.hpp"
#include "kurbel/stage/reference_torque.hpp"
#include "kurbel/stage/usual_engine.hpp"
#include "kurbel/stage/window.hpp"

namespace kurbel {

/// Hypotheses of how a lost combustion shows. Number 0 is a rigid crank with half of the heat released early (kUsualBurn_deg); then come later
/// combustion (22 and 38 degrees), a crank against which something heavy swings on a soft shaft (a test bed's brake, the far side of a
/// dual-mass flywheel), and the first torsion mode at frequencies 12 % apart, each as what it adds to number 0. By angle a mode is
/// another at another speed. What is too fast to show in bins is none, and what is so slow that it looks like load adds nothing:
/// how many hypotheses are in use follows the speed.
class ResponseKinds {
  public:
    using Real = float;
    static constexpr int kMaxResponse = kMaxWindow + kMaxBins / 2;  // up to a revolution more than the window
    static constexpr int kLate = 2;                                 // late combustion
    static constexpr int kSprung = 4;                               // something heavy on a soft shaft
    static constexpr int kModes = 13;                               // first torsion mode
    static constexpr int kBeforeModes = kLate + kSprung;
    static constexpr int kAlternatives = kBeforeModes + kModes;
    static constexpr int kHypotheses = kAlternatives + 1;
    using Learned = LearnedResponse<kMaxResponse>;
    using Response = Learned::Response;
    using Places = Learned::Places;

    /// Responses begin at bin `first_bin` after TDC; the first `size` of `length` bins lie in the window.
    void begin(const EngineConfig& engine, SensorAt at, const CycleGrid& grid, int first_bin, int size,
               int length) noexcept {
        size_ = static_cast<std::int16_t>(size);
        length_ = static_cast<std::int16_t>(length);
        first_bin_ = static_cast<std::int16_t>(first_bin);
        bin_deg_ = grid.bin_deg;
        work_ = CombustionWork(SliderCrank::of(engine), kUsualBurn_deg);
        const auto gain = first_mode_gain(engine, at);
        for (int k = 0; k < grid.firings; ++k) {
            const auto place = static_cast<std::size_t>(k);
            gain_[place] = static_cast<Real>(gain[place]);
            lost_combustion(work_, bin_deg_, first_bin, size, grid.tdc_offset[place], 0.0, rigid_[place].data());
        }
        begin_late(SliderCrank::of(engine));
        // First crank torsion modes fall with engine size: about 350 Hz at 86 mm bore (engineering range, from memory).
        const double middle_hz = engine.bore_mm > 0.0 ? 350.0 * 86.0 / engine.bore_mm : 350.0;
        lowest_hz_ = 0.42 * middle_hz;
        speed_rpm_ = 0;
    }

    /// Whether this speed is another than the one that the modes are made for (3 %).
    [[nodiscard]] bool is_another_speed(Real speed_rpm) const noexcept {
        return std::fabs(speed_rpm - speed_rpm_) > Real(0.03) * speed_rpm_;
    }

    /// Makes the torsion modes for this speed.
    void set_speed(Real speed_rpm) noexcept {
        speed_rpm_ = speed_rpm;
        active_ = kBeforeModes;
        // From the lowest on; beyond 12 cycles a revolution a mode does not outlast one bin.
        for (int m = 0; m < kModes; ++m) {
            const double per_rev = per_rev_of(mode_hz(m));
            if (per_rev > 12.0) break;
            lost_combustion(work_, bin_deg_, first_bin_, length_, 0.0, per_rev, kept(++active_).data());
        }
    }

    /// Bins of the window, and of a response.
    [[nodiscard]] int size() const noexcept { return size_; }
    [[nodiscard]] int length() const noexcept { return length_; }
    /// The bin of a response behind which the lost combustion itself is over: blow-down is at 140 degrees, and bins smooth it.
    [[nodiscard]] int first_after_blow_down() const noexcept {
        return -first_bin_ + static_cast<int>(std::ceil(200.0 / bin_deg_));
    }
    [[nodiscard]] Real speed_rpm() const noexcept { return speed_rpm_; }
    /// Alternatives to the rigid crank in use at this speed: hypotheses 1 to active().
    [[nodiscard]] int active() const noexcept { return active_; }
    [[nodiscard]] static bool is_mode(int hypothesis) noexcept { return hypothesis > kBeforeModes; }
    [[nodiscard]] static bool is_sprung(int hypothesis) noexcept {
        return hypothesis > kLate && hypothesis <= kBeforeModes;
    }

    /// Frequency of torsion mode `mode`, 0 to kModes - 1.
    [[nodiscard]] double mode_hz(int mode) const noexcept { return lowest_hz_ * std::pow(1.12, mode); }
    [[nodiscard]] double per_rev_of(double hz) const noexcept { return hz * 60.0 / static_cast<double>(speed_rpm_); }

    /// How strongly the first torsion mode shows torque on this place's throw.
    [[nodiscard]] Real torsion_gain(int k) const noexcept { return gain_[static_cast<std::size_t>(k)]; }
    [[nodiscard]] const Places& torsion_gains() const noexcept { return gain_; }
    /// How much of what an alternative adds a place shows.
    [[nodiscard]] Real gain_of(int hypothesis, int k) const noexcept {
        return is_mode(hypothesis) ? torsion_gain(k) : Real(1);
    }

    /// Response of a rigid crank at place `k`; zeros behind the window.
    [[nodiscard]] const Window& rigid(int k) const noexcept { return rigid_[static_cast<std::size_t>(k)]; }
    /// What hypothesis 1 to active() adds to it, per unit of gain_of(); not of those that swing, which are made anew when they are asked for.
    [[nodiscard]] const Response& added(int hypothesis) const noexcept { return added_[kept_at(hypothesis)]; }

    /// The same of any hypothesis, in its first `bins` bins; nothing of number 0.
    [[nodiscard]] Response added_by(int hypothesis, int bins) const noexcept {
        if (hypothesis == 0) return {};
        return is_sprung(hypothesis) ? swinging(hypothesis - 1 - kLate, bins) : added(hypothesis);
    }

    /// Writes the torsion mode `hypothesis` at another frequency than its own, by a factor, and of another damping, to `mode`.
    void write_mode(int hypothesis, double frequency, double damping, Response& mode) const noexcept {
        const double per_rev =
            mode_hz(hypothesis - 1 - kBeforeModes) * frequency * 60.0 / static_cast<double>(speed_rpm_);
        lost_combustion(work_, bin_deg_, first_bin_, length_, 0.0, per_rev, mode.data(), damping);
    }
    /// From now on that is the mode `hypothesis`, times `size`.
    void retune(int hypothesis, double frequency, double damping, Real size) noexcept {
        Response& mode = kept(hypothesis);
        write_mode(hypothesis, frequency, damping, mode);
        for (int j = 0; j < length_; ++j) mode[static_cast<std::size_t>(j)] *= size;
    }
    /// It is as it was at first.
    void restore(int hypothesis) noexcept { retune(hypothesis, 1.0, kFadingMean, Real(1)); }

    /// Root mean square per bin of what the usual mode adds, per unit gain; 0 where it is too fast to show.
    [[nodiscard]] Real usual_twist() const noexcept {
        constexpr int kUsual = 1 + kBeforeModes + kModes / 2;
        if (kUsual > active_) return Real(0);
        return std::sqrt(dot(head_of(added(kUsual), size_), added(kUsual)) / static_cast<Real>(size_));
    }

    /// Cosine of the least angle that a torsion mode turns by from one bin to the next; 1 where that is beyond half a turn.
    [[nodiscard]] Real slowest_step() const noexcept {
        const double step = to_rad(60.0 * lowest_hz_ * bin_deg_ / std::max(static_cast<double>(speed_rpm_), 1.0));
        return step < to_rad(180.0) ? static_cast<Real>(std::cos(step)) : Real(1);
    }

  private:
    /// Later combustion, as what it adds to the response of the first place.
    void begin_late(const SliderCrank& crank) noexcept {
        Response normal{};
        lost_combustion(work_, bin_deg_, first_bin_, length_, 0.0, 0.0, normal.data());
        for (int late = 0; late < kLate; ++late) {
            Response& more = added_[static_cast<std::size_t>(late)];
            lost_combustion(CombustionWork(crank, late == 0 ? 22.0 : 38.0), bin_deg_, first_bin_, length_, 0.0, 0.0,
                            more.data());
            for (int j = 0; j < length_; ++j) more[static_cast<std::size_t>(j)] -= normal[static_cast<std::size_t>(j)];
        }
        active_ = kLate;
    }

    /// What it adds that something swings against the crank: of the loss of speed a share comes back, and swings (two masses on a spring, any
    /// textbook on vibration: the crank alone loses speed first, both together in the end, and in between the difference is a damped cosine).
    [[nodiscard]] Response swinging(int kind, int bins) const noexcept {
        // Engineering ranges, from memory: brakes of test beds swing on their shafts at 10 to 30 Hz, dual-mass flywheels at 8 to 15 Hz, at 12 to
        // 32 Hz where the second mass swings alone; half to three times as heavy as the engine. What misfires show beyond that is learned.
        constexpr std::array<double, kSprung> kHz{11.5, 15.8, 21.6, 29.6};
        constexpr Real kShare = Real(0.5);  // inertia on the shaft, of all
        constexpr double kDamping = 0.1;
        // Less than one swing in a response is slow torque, which is told apart from misfires.
        constexpr double kSlowest = 0.4;  // a revolution
        Response more{};
        const double per_rev = per_rev_of(kHz[static_cast<std::size_t>(kind)]);
        if (per_rev < kSlowest) return more;
        lost_combustion(work_, bin_deg_, first_bin_, bins, 0.0, per_rev, more.data(), kDamping);
        for (std::size_t j = 0; j < static_cast<std::size_t>(size_); ++j) more[j] -= rigid(0)[j];
        for (std::size_t j = 0; j < static_cast<std::size_t>(bins); ++j) more[j] *= kShare;
        return more;
    }

    [[nodiscard]] static std::size_t kept_at(int hypothesis) noexcept {
        return static_cast<std::size_t>(hypothesis - 1 - (is_mode(hypothesis) ? kSprung : 0));
    }
    [[nodiscard]] Response& kept(int hypothesis) noexcept { return added_[kept_at(hypothesis)]; }

    std::int16_t size_ = 0;
    std::int16_t length_ = 0;
    std::int16_t first_bin_ = 0;
    std::int16_t active_ = 0;
    double bin_deg_ = 0;
    double lowest_hz_ = 0;
    Real speed_rpm_ = 0;
    CombustionWork work_{SliderCrank{}, kUsualBurn_deg};
    Places gain_{};
    std::array<Window, kMaxCylinders> rigid_{};
    std::array<Response, kLate + kModes> added_{};  // without those that swing
};

}  // namespace kurbel
