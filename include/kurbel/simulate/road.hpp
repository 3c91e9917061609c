// Unevenness under the driven wheels and what it does to their rolling.
//
// The road is a height h over way, averaged over the tyre's contact length. The wheel (height z) hops between road and body
// (height y), both counted from rest, k spring and c damper of the suspension:
//   m_wheel z'' = k_tyre d - k (z - y) - c (z' - y'),   m_body y'' = k (z - y) + c (z' - y').
// Tyre deflection beyond the static one is d = h - z, never less than where the tyre lifts off. It changes
//   the wheel load       F_z = F_z0 + k_tyre d, and with it slip stiffness, grip and rolling drag,
//   the rolling radius   by -share d: at the same speed over ground the wheel must turn faster or slower,
//   the arm of the tyre's longitudinal force, by -d,
// and the slope h' turns the wheel load backwards: F_z h' pushes against the hub, which swings fore and aft in its bushings
// and carries the contact along. All of it reaches the crank through the tyre's slip and the half-shafts.
// Quarter-car model and textbook mechanics of a rolling wheel (as in Pacejka, Tyre and Vehicle Dynamics; from memory).
#pragma once

#include <vector>

#include "kurbel/simulate/random.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

/// Height of the road over way, in steps of 1 cm, as it comes towards the wheel.
///
/// `random` is a first-order process whose displacement density is that of ISO 8608 with waviness 2,
/// G(n) = G(n0) (n0/n)^2, n0 = 0.1 cycles/m (from memory), levelling off below 0.01 cycles/m.
class RoadProfile {
  public:
    static constexpr double kStepM = 0.01;

    RoadProfile(const RoadSettings& settings, std::uint64_t seed) noexcept;

    /// Height at the next step of way, m; the first call gives way 0.
    [[nodiscard]] double next() noexcept;

  private:
    RoadSettings settings_;
    Random random_;
    double keep_;       ///< random: share of the height that is left after a step
    double deviation_;  ///< random: of what a step adds
    double height_m_ = 0.0;
    long long step_ = 0;
};

/// What the road does to the driven wheels just now.
struct WheelOnRoad {
    double load_share = 1.0;  ///< wheel load over the static one
    double radius_m = 0.0;    ///< change of the rolling radius
    double arm_m = 0.0;       ///< change of the longitudinal force's arm
    double drag_nm = 0.0;     ///< change of the rolling drag, at the wheels
    double push_n = 0.0;      ///< backwards on the hubs
};

class RoadWheel {
  public:
    explicit RoadWheel(const Scenario& scenario);

    [[nodiscard]] bool rough() const noexcept { return settings_.kind != RoadKind::smooth; }

    /// Rolls on by `step_s`, which begins at `time_s`.
    void advance(double time_s, double step_s, double vehicle_m_s) noexcept;

    [[nodiscard]] const WheelOnRoad& now() const noexcept { return now_; }
    [[nodiscard]] double unsprung_kg() const noexcept { return settings_.unsprung_kg; }
    [[nodiscard]] double hub_n_m() const noexcept { return hub_n_m_; }
    [[nodiscard]] double hub_n_s_m() const noexcept { return hub_n_s_m_; }

  private:
    void roll_to(double way_m) noexcept;
    struct Hop {  // heights and speeds, counted from rest
        double wheel_m = 0.0;
        double wheel_m_s = 0.0;
        double body_m = 0.0;
        double body_m_s = 0.0;
    };
    struct Ground {
        double height_m;
        double slope;
    };
    void hop(double step_s, double height_m) noexcept;
    [[nodiscard]] Hop rate(const Hop& at, double height_m) const noexcept;
    [[nodiscard]] Ground ground() const noexcept;
    [[nodiscard]] double deflection_m(const Hop& at, double height_m) const noexcept;

    RoadSettings settings_;
    RoadProfile profile_;
    double static_n_;
    double rolling_share_;  ///< rolling drag over wheel load
    double wheel_radius_m_;
    double hub_n_m_;
    double hub_n_s_m_;
    std::vector<double> under_;  ///< heights under the contact length, a ring
    std::size_t oldest_ = 0;
    double way_m_ = 0.0;
    long long laid_ = 0;  ///< steps of way that have come so far
    Hop hop_{};
    double body_kg_;
    WheelOnRoad now_{};
};

}  // namespace kurbel::simulate
