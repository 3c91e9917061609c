// Throttle, intake plenum and the pressure in the exhaust.
//
// The plenum is isothermal: dp/dt = R T/V (flow through the throttle - what the cylinders take). The throttle passes
// compressible flow that chokes (Heywood 1988, app. C; from memory); the cylinders take their charge's fresh air each cycle
// (speed-density). Gas led back on purpose is assumed to follow the cylinders' intake.
#pragma once

#include "kurbel/simulate/cylinder.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

/// Mass flow times sqrt(R T) over area and upstream pressure, of air (ratio of heats 1.4), over the ratio of downstream to
/// upstream pressure: 0.6847 up to the critical ratio 0.528, 0 at 1. The last 1.5 % are a straight line, for the true curve
/// is infinitely steep at 1, which no real throttle is.
[[nodiscard]] double orifice_flow(double pressure_ratio) noexcept;

class AirPath {
  public:
    AirPath(const Scenario& scenario, const CylinderModel& cylinder);

    /// Whether a plenum is there; without one only the exhaust is followed.
    [[nodiscard]] bool has_plenum() const noexcept { return volume_m3_ > 0.0; }

    /// What throttle and cylinders do at the moment.
    struct Demand {
        double time_s = 0.0;
        double load = 0.3;              ///< relative charge that is asked for
        double reference_rad_s = 80.0;  ///< speed for which the throttle is set to that charge
        double speed_rad_s = 80.0;      ///< of the crank
        int open_cylinders = 0;         ///< whose valves move
    };

    /// Pressures as if all had been so for long.
    void settle(const Demand& demand) noexcept;

    /// The plenum at ambient pressure, as it stands before a start.
    void rest(const Demand& demand) noexcept;

    /// Advances by `step_s`.
    void update(const Demand& demand, double step_s) noexcept;

    [[nodiscard]] double manifold_pa() const noexcept { return pa_; }
    [[nodiscard]] double manifold_pa_s() const noexcept { return pa_s_; }  ///< rate at the end of the last update
    [[nodiscard]] double exhaust_rise_pa() const noexcept { return exhaust_rise_pa_; }
    [[nodiscard]] double throttle_mm2() const noexcept { return 1e6 * area_m2_; }
    [[nodiscard]] double air_kg_s() const noexcept { return taken_kg_s_; }

  private:
    [[nodiscard]] double supply_pa(double time_s) const noexcept;
    [[nodiscard]] double taken_kg_s(double pa, double speed_rad_s, int cylinders) const noexcept;
    [[nodiscard]] double wanted_m2(const Demand& demand) const noexcept;
    [[nodiscard]] double rate_pa_s(double pa, const Demand& demand) const noexcept;
    void balance(const Demand& demand) noexcept;
    void breathe(const Demand& demand) noexcept;

    const CylinderModel& cylinder_;
    ManifoldSettings settings_;
    double ambient_pa_;
    double egr_;
    bool throttled_;
    double exhaust_pa_s2_kg2_;
    double volume_m3_;
    double full_m2_;
    double root_rt_;  ///< sqrt(R T) of the intake's gas
    double area_m2_ = 0.0;
    double pa_ = 1e5;
    double pa_s_ = 0.0;
    double taken_kg_s_ = 0.0;
    double exhaust_rise_pa_ = 0.0;
};

}  // namespace kurbel::simulate
