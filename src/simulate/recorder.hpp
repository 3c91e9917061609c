// What is written down of a run, and how it becomes a recording.
#pragma once

#include <vector>

#include "kurbel/read/recording.hpp"
#include "kurbel/simulate/deep_truth.hpp"
#include "kurbel/simulate/random.hpp"
#include "kurbel/simulate/scenario.hpp"
#include "kurbel/simulate/wheel.hpp"
#include "simulate/cylinder_run.hpp"

namespace kurbel::simulate {

class Recorder {
  public:
    /// `deep` may be null.
    Recorder(const Scenario& scenario, DeepTruth* deep);

    /// Time 0: the crank wheel's end of the shaft stands at `wheel_rad`.
    void begin(double wheel_rad, double cycle_rad);

    /// What the channels show.
    struct Shown {
        double load = 0.0;
        bool fuel_cut = false;  ///< for the whole engine
        bool in_gear = false;
        double vehicle_kmh = 0.0;
        double battery_v = 0.0;  ///< 0: none described
    };
    /// Call at each control step; writes when the time has come.
    void look(double time_s, const Shown& shown, const FiringMaker& firing);

    /// Takes the rows out of `cylinders`.
    [[nodiscard]] read::Recording assemble(CylinderRuns& cylinders, const WheelSensor& sensor);

    std::vector<SimulatedEdge> edges;

  private:
    void write_channels(double time_s, const Shown& shown, const FiringMaker& firing);
    void assemble_deep(CylinderRuns& cylinders, const WheelSensor& sensor, double clock_shift_s);

    struct Sample {
        double time_s;
        Channel channel;
        double value;
    };

    const Scenario& scenario_;
    DeepTruth* deep_;
    Random noise_;
    std::vector<Sample> samples_;
    double next_sample_s_ = 0.0;
    read::Recording recording_;
};

}  // namespace kurbel::simulate
