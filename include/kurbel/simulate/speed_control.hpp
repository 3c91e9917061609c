// What sets the charge and the load: idle governor, brake, road and driver. All slow: a bandwidth far below one engine
// cycle's rate, so that nobody answers a single misfire.
#pragma once

#include "kurbel/simulate/engine_model.hpp"
#include "kurbel/simulate/mean_torque.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

class SpeedControl {
  public:
    /// Keeps a reference to `model`.
    SpeedControl(const Scenario& scenario, const EngineModel& model);

    /// State at time `time_s` as if it had been held for long.
    void settle(double time_s) noexcept;

    /// Advances by `step_s`, which ends at `time_s`, the crank at `crank_rad_s`; `fuel_cut` freezes what learns.
    void update(double time_s, double step_s, double crank_rad_s, bool fuel_cut) noexcept;

    /// What a plenum made of the wish; in the place of the lag.
    void take_load(double load) noexcept { load_ = load; }
    /// In a start: whether the idle governor is in charge.
    void let_govern(bool running) noexcept { running_ = running; }
    /// What late spark leaves of the work, and cold friction over warm.
    void set_conditions(double spark_efficiency, double friction_factor) noexcept {
        mean_.set_conditions(spark_efficiency, friction_factor);
    }

    [[nodiscard]] double load() const noexcept { return load_; }      ///< charge after the manifold's lag
    [[nodiscard]] double wanted() const noexcept { return wanted_; }  ///< before it
    /// Speed for which a throttle is to be set to the wanted charge: idle's own, so that an engine that slows down breathes
    /// more a turn; else what is driven.
    [[nodiscard]] double throttle_rad_s(double time_s) const noexcept;
    [[nodiscard]] double load_nm() const noexcept { return load_nm_; }  ///< for EngineModel::load_nm
    [[nodiscard]] double steady_torque_nm(double time_s) const noexcept;

  private:
    [[nodiscard]] double target_rad_s(double time_s) const noexcept;
    [[nodiscard]] double target_slope(double time_s) const noexcept;
    [[nodiscard]] double road_nm(double speed_rad_s) const noexcept;
    [[nodiscard]] bool governed() const noexcept;
    [[nodiscard]] double wanted_load(double time_s, double correction) const noexcept;
    [[nodiscard]] double with_clutch(double load) const noexcept;

    OperationSettings operation_;
    double start_load_ = 0.3;
    bool running_ = false;
    DrivelineSettings driveline_;
    const EngineModel& model_;
    GearboxSettings gearbox_;
    MeanTorque mean_;
    double filtered_rad_s_ = 0.0;  ///< what is held: crank, or vehicle as a crank speed
    double filtered_crank_rad_s_ = 0.0;
    double ratio_ = 0.0;            ///< of the gear that the above were counted in
    double integral_rad_s2_ = 0.0;  ///< acceleration asked for beyond feed-forward
    double load_ = 0.3;
    double wanted_ = 0.3;
    double load_nm_ = 0.0;
};

}  // namespace kurbel::simulate
