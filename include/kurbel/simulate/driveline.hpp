// Clutch or converter, gears, half-shafts, driven wheels, tyres and vehicle, each in its own coordinates, so that gears can
// change while the engine runs.
#pragma once

#include <array>

#include "kurbel/simulate/crank.hpp"
#include "kurbel/simulate/friction_joint.hpp"
#include "kurbel/simulate/road.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

/// What turns, twists and moves behind the clutch; integrated together with the crank.
struct DrivelineState {
    enum Part : std::size_t {
        clutch_rad,   ///< twist of the clutch springs, engine ahead
        shaft_rad,    ///< twist of the half-shafts at the wheels, gearbox ahead
        hub_m,        ///< hubs before the vehicle
        input_rad_s,  ///< gearbox input shaft
        wheel_rad_s,  ///< driven wheels
        vehicle_m_s,
        hub_m_s,  ///< hubs against the vehicle
        tyre_n,   ///< longitudinal force of the driven tyres
        parts
    };
    std::array<double, parts> value{};

    [[nodiscard]] double operator[](Part part) const noexcept { return value[part]; }
    double& operator[](Part part) noexcept { return value[part]; }
};

/// Torques of a hydrodynamic converter.
struct ConverterTorque {
    double pump_nm = 0.0;     ///< against the engine
    double turbine_nm = 0.0;  ///< on the gearbox
};
[[nodiscard]] ConverterTorque converter_torque(const ConverterSettings& settings, double pump_rad_s,
                                               double turbine_rad_s) noexcept;

class Driveline {
  public:
    /// `engine_inertia_kg_m2`: what turns before the clutch, a second flywheel mass excepted.
    Driveline(const Scenario& scenario, double engine_inertia_kg_m2);

    [[nodiscard]] bool active() const noexcept { return active_; }

    /// At time `time_s`, engine at `engine_rad_s`: rolling without torque in the gear of that time, or at the vehicle speed
    /// asked for; at rest where neither joins engine and wheels.
    void start(double time_s, double engine_rad_s) noexcept;

    /// Twists springs and tyres so that they carry `torque_nm` of the clutch.
    void preload(double torque_nm) noexcept;

    /// Sets what holds over the next control step of `step_s`: gear and clutch, brakes, the road under the wheels.
    void control(double time_s, double step_s) noexcept;

    /// Rates of change of `at`, the clutch's engine side turning at `rear_rad_s`; returns the torque on that side.
    /// `load_nm` is a brake on the vehicle, referred to the crank.
    [[nodiscard]] double slope(const DrivelineState& at, double rear_rad_s, double load_nm,
                               DrivelineState& rate) const noexcept;

    /// Fastest of what settles by itself, rad/s; bounds the time step.
    [[nodiscard]] double fastest_rad_s() const noexcept;

    /// Crank turns per wheel turn in the present gear (the last one where none is in).
    [[nodiscard]] double ratio() const noexcept { return ratio_; }
    [[nodiscard]] int gear() const noexcept { return gear_; }
    /// 1 where engine and gearbox are joined, 0 with the clutch open; 1 always with a converter.
    [[nodiscard]] double joined() const noexcept { return converter_.pump_nm_s2 > 0.0 ? 1.0 : clutch_share_; }
    /// Whether the clutch slips just now, its engine side turning at `rear_rad_s`.
    [[nodiscard]] bool clutch_slips(double rear_rad_s) const noexcept;
    /// Vehicle's inertia with the wheels', referred to the crank in the present gear, plus the gearbox.
    [[nodiscard]] double inertia_kg_m2() const noexcept;
    /// The vehicle's speed, and that of the driven wheels, as a crank speed in the present gear.
    [[nodiscard]] double vehicle_as_crank_rad_s() const noexcept { return vehicle_m_s() / radius_m_ * ratio_; }
    [[nodiscard]] double wheels_as_crank_rad_s() const noexcept { return state[DrivelineState::wheel_rad_s] * ratio_; }
    [[nodiscard]] double vehicle_m_s() const noexcept {
        return tyre_.on ? state[DrivelineState::vehicle_m_s] : state[DrivelineState::wheel_rad_s] * radius_m_;
    }
    [[nodiscard]] const RoadWheel& road() const noexcept { return road_; }

    DrivelineState state{};

  private:
    enum class Phase : std::uint8_t { engaged, opening, changing, closing };

    void begin(Phase phase, double time_s) noexcept;
    void change_gears(double time_s) noexcept;
    void put_in(int gear) noexcept;
    [[nodiscard]] double resistance_n(double vehicle_m_s) const noexcept;

    bool active_;
    bool on_road_;
    DrivelineSettings line_;
    GearboxSettings box_;
    ConverterSettings converter_;
    TyreSettings tyre_;
    BrakeSettings brake_;
    Profile speed_kmh_;
    double radius_m_;
    FrictionJoint clutch_{};
    FrictionJoint shaft_{};  ///< slips while a gear is changed
    RoadWheel road_;

    Phase phase_ = Phase::engaged;
    double phase_start_s_ = 0.0;
    std::size_t next_change_ = 0;
    int gear_ = 1;
    double ratio_ = 1.0;
    double clutch_share_ = 1.0;
    double clutch_limit_nm_ = 0.0;
    double shaft_limit_nm_ = 0.0;  ///< at the wheels
    double brake_nm_ = 0.0;
};

/// Crank and driveline as one free chain for natural frequencies and step width, referred to the crank: clutch closed,
/// `gear` (from 1) in, tyres as springs (the vehicle at rest) where they are on. The engine's part is `crank`.
[[nodiscard]] TorsionChain driveline_chain(const Scenario& scenario, const CrankLayout& layout, TorsionChain crank,
                                           int gear) noexcept;

}  // namespace kurbel::simulate
