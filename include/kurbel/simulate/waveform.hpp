// The crank sensor's voltage as a recorder would sample it.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "kurbel/simulate/simulator.hpp"
#include "kurbel/simulate/wheel.hpp"

namespace kurbel::simulate {

/// Samples the bare sensor while a scenario runs: a coil's voltage with noise and hum, or 5 V where a tooth stands before a ready
/// edge's sensor and 0 V elsewhere. Edges that are lost, doubled or made of nothing, jitter and the capture unit are not in it.
class Waveform {
  public:
    /// `rate_hz`: samples a second, 100 to 1e8; the scenario must live as long.
    Waveform(const Scenario& scenario, double rate_hz);

    /// To be called after each step, as StepWatch.
    void look(const EngineModel& model, double time_s);

    /// Sample i was taken at i / rate_hz, on simulated time.
    [[nodiscard]] const std::vector<float>& volts() const noexcept { return volts_; }
    [[nodiscard]] double rate_hz() const noexcept { return rate_hz_; }

    /// Writes `time_s,volts` as text, or with a name that ends with .npy a NumPy array of the volts alone (float64). Throws
    /// read::InputError where that cannot be done.
    void write(const std::string& path) const;

  private:
    struct State {
        double time_s = 0.0;
        double angle_rad = 0.0;
        double speed_rad_s = 0.0;
    };
    [[nodiscard]] float sample(const State& at);

    const Scenario& scenario_;
    WheelSensor sensor_;
    Random noise_;
    double rate_hz_;
    State before_;
    bool begun_ = false;
    std::vector<float> volts_;
};

}  // namespace kurbel::simulate
