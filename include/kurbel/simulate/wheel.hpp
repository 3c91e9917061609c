// Trigger wheel and cam wheel before their sensors: from the sensor's angle over time to edges.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/simulate/inductive_sensor.hpp"
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
///
/// A shaft that swings back makes edges as well: a tooth sensor then sees each tooth's other side first, an inductive one
/// crosses zero where it always does. A cam edge shows again when it is passed forwards again.
class WheelSensor {
  public:
    explicit WheelSensor(const Scenario& scenario);

    /// Places both wheels so that the next edge lies after `angle_rad`.
    void start(double angle_rad);

    /// Adds the edges of one step to `edges`; times by the cubic through angles and speeds at both ends.
    void step(const SensorStep& step, std::vector<SimulatedEdge>& edges);

    /// Tells that all angles were lowered by `angle_rad`.
    void rebase(double angle_rad) noexcept;

    /// True angle of each tooth's edge from place 0, degrees: nominal plus pitch error, run-out, bend and gap shift; with an
    /// inductive sensor the zero crossing without noise and hum.
    [[nodiscard]] const std::vector<double>& true_angle_deg() const noexcept { return true_deg_; }

    /// Voltage of the inductive sensor, hum included, noise not; else 5 V before a tooth and 0 V elsewhere.
    [[nodiscard]] double volts(double angle_rad, double speed_rad_s, double time_s) const noexcept;

  private:
    struct Track {
        std::vector<double> angle_rad;  ///< of each edge within one period, rising
        double period_rad = 1.0;
        double base_rad = 0.0;  ///< start of the present period
        std::size_t next = 0;

        [[nodiscard]] double next_rad() const noexcept { return base_rad + angle_rad[next]; }
        void advance() noexcept;
        void retreat() noexcept;
        void start(double angle) noexcept;
    };

    void make_teeth(const Scenario& scenario);
    void make_waveform(const Scenario& scenario);
    void step_back(const SensorStep& step, std::vector<SimulatedEdge>& edges);
    void emit_crank(double time_s, double speed_rad_s, std::size_t tooth, std::vector<SimulatedEdge>& edges);
    void emit_backwards(double time_s, double speed_rad_s, std::size_t tooth, std::vector<SimulatedEdge>& edges);
    void emit_cam(double time_s, double speed_rad_s, std::vector<SimulatedEdge>& edges);
    void chatter(double time_s, std::vector<SimulatedEdge>& edges);
    [[nodiscard]] bool faulty_tooth_misses(std::size_t tooth);
    /// Whether the coil's half-wave is high enough to arm the comparator; `shift_s` is how much later the voltage crosses zero.
    [[nodiscard]] bool sensed(double time_s, double speed_rad_s, std::size_t tooth, double& shift_s);
    [[nodiscard]] double hum(double time_s) const noexcept;
    [[nodiscard]] double cam_late_rad(double time_s) const noexcept;

    WheelErrorSettings error_;
    SensorSettings sensor_;
    CamErrorSettings cam_error_;
    Track crank_;
    Track cam_;
    std::vector<double> true_deg_;
    std::vector<double> width_rad_;     ///< of each tooth
    std::vector<double> fault_missed_;  ///< by tooth
    std::vector<double> height_;
    InductiveWheel coil_;
    double tdc1_rad_ = 0.0;
    std::size_t after_gap_ = 0;  ///< tooth that follows the widest gap
    bool weak_now_ = false;
    double pitch_rad_ = 0.1;
    double last_peak_v_ = 0.0;
    double hum_phase_rad_ = 0.0;
    Random jitter_;
    Random loss_;
    Random fault_;
    Random chatter_;
    Random backwards_;
    Random noise_;
    Random cam_loss_;
};

}  // namespace kurbel::simulate
