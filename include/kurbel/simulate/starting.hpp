// Starter, battery, first fuel and the spark at idle: all that acts between key and running, once a control step.
#pragma once

#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

class Starting {
  public:
    explicit Starting(const Scenario& scenario) : scenario_(scenario) {}

    /// For the control step of `step_s` from `time_s` on; `angle_rad` has never been lowered.
    void update(double time_s, double step_s, double angle_rad, double speed_rad_s) noexcept;

    [[nodiscard]] bool engaged() const noexcept { return engaged_; }
    [[nodiscard]] bool running() const noexcept { return running_; }
    [[nodiscard]] bool no_fuel() const noexcept { return no_fuel_; }

    /// The starter's line is stall torque times `gain` times (`level` - speed over free speed).
    [[nodiscard]] double gain() const noexcept;
    [[nodiscard]] double level() const noexcept;

    /// At the battery's poles; 0 where none is described.
    [[nodiscard]] double battery_v(double speed_rad_s) const noexcept;

    /// Degrees that the idle control holds the spark back at the moment, and at the target.
    [[nodiscard]] double spark_deg() const noexcept { return spark_deg_; }
    [[nodiscard]] double steady_spark_deg() const noexcept {
        return governs_spark_ ? scenario_.idle_spark.reserve_deg : 0.0;
    }

  private:
    [[nodiscard]] int window(double time_s) const noexcept;
    [[nodiscard]] double current_a(double speed_rad_s) const noexcept;
    void turn_key(double time_s, double angle_rad, double speed_rpm) noexcept;
    void control_spark(double time_s, double step_s, double speed_rpm) noexcept;

    const Scenario& scenario_;
    bool engaged_ = false;
    bool released_ = false;
    bool running_ = false;
    bool no_fuel_ = false;
    bool governs_spark_ = false;
    int window_ = -1;  ///< which of the starter's times it is, -1 for none
    double engaged_at_rad_ = 0.0;
    double sag_v_ = 0.0;
    double filtered_rpm_ = -1.0;
    double spark_deg_ = 0.0;
};

}  // namespace kurbel::simulate
