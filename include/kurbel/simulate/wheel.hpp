// Trigger wheel, cam wheel and capture unit: from the sensor's angle over time to edges.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/simulate/random.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

/// One edge before it becomes a timer tick.
struct SimulatedEdge {
    double time_s = 0.0;
    Signal signal = Signal::crank;
    std::int32_t tooth = -1;  ///< index of the wheel's tooth or cam edge; -1 for an edge that is none
};

/// One time step of the mass that carries a wheel.
struct SensorStep {
    double start_s = 0.0;
    double step_s = 0.0;
    double angle_rad = 0.0;  ///< at the start
    double speed_rad_s = 0.0;
    double next_angle_rad = 0.0;  ///< at the end
    double next_speed_rad_s = 0.0;
};

/// Crank wheel and cam wheel with their errors. Angles count from cylinder 1's firing TDC.
class WheelSensor {
  public:
    explicit WheelSensor(const Scenario& scenario);

    /// Places both wheels so that the next edge lies after `angle_rad`.
    void start(double angle_rad);

    /// Adds the edges of one step to `edges`; times by the cubic through angles and speeds at both ends.
    void step(const SensorStep& step, std::vector<SimulatedEdge>& edges);

    /// Tells that all angles were lowered by `angle_rad`.
    void rebase(double angle_rad) noexcept;

    /// True angle of each tooth from place 0, degrees: nominal plus pitch error, run-out and gap shift.
    [[nodiscard]] const std::vector<double>& true_angle_deg() const noexcept { return true_deg_; }

  private:
    struct Track {
        std::vector<double> angle_rad;  ///< of each edge within one period, rising
        double period_rad = 1.0;
        double base_rad = 0.0;  ///< start of the present period
        std::size_t next = 0;

        [[nodiscard]] double next_rad() const noexcept { return base_rad + angle_rad[next]; }
        void advance() noexcept;
        void start(double angle) noexcept;
    };

    void emit_crank(double time_s, double speed_rad_s, std::size_t tooth, std::vector<SimulatedEdge>& edges);
    void make_teeth(const Scenario& scenario);

    WheelErrorSettings error_;
    Track crank_;
    Track cam_;
    std::vector<double> true_deg_;
    std::size_t after_gap_ = 0;  ///< tooth that follows the widest gap
    bool weak_now_ = false;
    double pitch_rad_ = 0.1;
    Random jitter_;
    Random loss_;
};

/// Sorts the edges and turns them into raw ticks as [timer] wants them. `clock_shift_s` is what the recording's clock lags
/// behind simulated time, so that the first raw tick is the clock's value as it stands.
struct CapturedEdges {
    std::vector<std::int64_t> tick;
    std::vector<std::uint8_t> signal;
    double clock_shift_s = 0.0;
};
[[nodiscard]] CapturedEdges capture(std::vector<SimulatedEdge>& edges, const TimerConfig& timer);

}  // namespace kurbel::simulate
