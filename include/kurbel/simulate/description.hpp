// What an engine on paper is, in figures: sizes, natural frequencies, and how it runs at one operating point.
#pragma once

#include <string>
#include <vector>

#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

/// One natural frequency of the machine, undamped, with the mean inertia of the reciprocating masses.
struct Mode {
    double hz = 0.0;
    std::vector<double> shape;  ///< by mass; the largest is 1 or -1, its sign such that mass 0 is not negative
};

/// What can be told without running it.
struct MachineFigures {
    double displacement_l = 0.0;
    std::vector<double> interval_deg;  ///< from each firing to the next, in firing order
    double rotating_kg_m2 = 0.0;       ///< pulley, throws, flywheel, and ring and second mass where there are any
    double reciprocating_kg_m2 = 0.0;  ///< mean of pistons and rods, all cylinders
    std::vector<std::string> masses;   ///< "pulley", "throw 1", ..., "flywheel", "gearbox", "vehicle", ...
    std::vector<Mode> modes;           ///< rising; rigid rotation is left out
};
[[nodiscard]] MachineFigures machine_figures(const Scenario& scenario);

/// How it runs at the operating point of the recording's start: speed, load and gear held, no scatter, no faults, smooth road.
struct RunningFigures {
    bool runs = false;              ///< false: it stalls there, and the rest is empty
    double speed_rpm = 0.0;         ///< mean
    double load = 0.0;              ///< charge, mean
    double work_j = 0.0;            ///< gross indicated, a firing, mean of all cylinders
    double imep_bar = 0.0;          ///< the same over one cylinder's displacement
    double friction_nm = 0.0;       ///< with accessories
    double brake_nm = 0.0;          ///< mean torque that is left at the clutch, by the mean-value map
    double swing_rpm = 0.0;         ///< highest less lowest speed within an engine cycle, at the flywheel
    double sensor_swing_rpm = 0.0;  ///< the same where the crank sensor sits
    /// By how much the flywheel is slower where one firing of cylinder 1 is lost, mean from a quarter to three quarters of a
    /// turn after its TDC.
    double drop_rpm = 0.0;
    double sensor_drop_rpm = 0.0;  ///< the same where the crank sensor sits
    double rigid_drop_rpm = 0.0;   ///< work over inertia times speed: what a rigid crank without a driveline would lose
};

/// Runs the engine twice for some seconds. When cranking, the lost firing is left out (NaN).
[[nodiscard]] RunningFigures running_figures(const Scenario& scenario);

}  // namespace kurbel::simulate
