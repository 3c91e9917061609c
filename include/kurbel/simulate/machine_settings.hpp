// Crank, flywheel, driveline and what else turns: the machine around the cylinders, as plain values. Ordinary engineering
// ranges for a car (values from memory, no single source) unless a source stands beside them.
#pragma once

#include <utility>
#include <vector>

#include "kurbel/simulate/profile.hpp"

namespace kurbel::simulate {

/// The crank as a chain: pulley, one inertia per throw, flywheel; a tuned damper on the pulley where asked for.
struct CrankSettings {
    double pulley_share = 0.08;           ///< of engine.inertia_kg_m2
    double throws_share = 0.22;           ///< all throws together; the flywheel has the rest
    double first_torsion_hz = 400.0;      ///< first mode of the free chain with mean reciprocating inertia, damper away
    double damping_ratio = 0.02;          ///< of that mode; proportional to stiffness, so higher modes are damped more
    double pulley_stiffness_share = 1.0;  ///< pulley's shaft relative to the shaft between two throws
    double damper_kg_m2 = 0.0;            ///< ring of the tuned damper, beside engine.inertia_kg_m2; 0: none
    double damper_hz = 0.0;               ///< ring on its spring, pulley held; 0: Den Hartog's optimum (see crank.hpp)
    double damper_damping = 0.08;         ///< of the ring on its spring: rubber with a loss factor of 0.16
};

/// A second flywheel mass on long springs. engine.inertia_kg_m2 then ends at the first mass.
struct DualMassSettings {
    double secondary_kg_m2 = 0.0;  ///< 0: an ordinary flywheel
    double hz = 11.0;              ///< engine with first mass against second mass with gearbox input; 8 to 15
    double damping_ratio = 0.05;   ///< of that mode
    double hysteresis_nm = 0.0;    ///< dry friction between the masses
};

/// Vehicle behind clutch and shafts, all referred to the crank; used in `hold` and `road`. Where a gearbox is given it
/// replaces `ratio`, `shuffle_hz` and `shuffle_damping`.
struct DrivelineSettings {
    double ratio = 5.0;  ///< crank turns per wheel turn
    double wheel_radius_m = 0.31;
    double vehicle_kg = 1500.0;
    double gearbox_kg_m2 = 0.02;
    double clutch_hz = 60.0;  ///< gearbox on the clutch springs
    double clutch_damping = 0.1;
    double shuffle_hz = 5.0;  ///< engine and gearbox against the vehicle
    double shuffle_damping = 0.08;
    double rolling_n = 180.0;
    double drag_n_s2_m2 = 0.4;  ///< force over speed squared
    double grade = 0.0;         ///< rise over way
};

/// Gears, the shafts behind them and the driver's (or the gearbox's own) gear changes.
struct GearboxSettings {
    std::vector<double> ratios;                ///< of gear 1, 2, ...; empty: the fixed ratio of DrivelineSettings
    double final_drive = 4.0;                  ///< gearbox output turns per wheel turn
    std::vector<std::pair<double, int>> gear;  ///< (seconds, gear) in order of time, 0 is neutral; empty: gear 1
    Profile clutch{1.0};                       ///< share of `clutch_nm` that is pressed on: 0 open, 1 closed
    double clutch_nm = 400.0;                  ///< torque at which the clutch (or lock-up clutch) slips
    double clutch_open_s = 0.15;               ///< of a gear change
    double change_s = 0.25;                    ///< out of the old gear and into the new one
    double clutch_close_s = 0.5;               ///< of a gear change
    double change_nm = 40.0;       ///< by which synchronisers (or an automatic's clutches) pull the input shaft along
    double change_load = 0.15;     ///< charge while the clutch is open
    double idle_rpm = 800.0;       ///< below it the idle governor helps the driver
    double shaft_nm_rad = 6500.0;  ///< half-shafts together with the mounts that give way to them, at the wheels
    double shaft_nm_s_rad = 20.0;  ///< their damping
    double wheel_kg_m2 = 2.0;      ///< driven wheels with hubs and brake discs
};

/// Hydrodynamic torque converter between engine and gearbox; the clutch is then its lock-up clutch.
///
/// Speed ratio r = turbine over pump. Pump torque k w^2 min(1, (1 - r)/(1 - c)), c the coupling ratio; turbine torque is that
/// times 1 + (m - 1)(1 - r/c), m the torque ratio at stall, and times 1 beyond c. A turbine that overruns the pump drives it
/// by the same law with the parts exchanged and m = 1. A straight-line form of the usual characteristics (from memory).
struct ConverterSettings {
    double pump_nm_s2 = 0.0;       ///< k; 0: no converter. 0.0035 lets 200 N m stall at 2300 rpm
    double torque_ratio = 2.0;     ///< m
    double coupling_ratio = 0.85;  ///< c
};

/// Tyres of the driven axle in longitudinal slip: force F with (relaxation/v) dF/dt + F = stiffness (w r - v)/v, that is a
/// spring in series with a damper that stiffens as the vehicle slows (Pacejka, Tyre and Vehicle Dynamics; from memory).
struct TyreSettings {
    bool on = false;
    double slip_stiffness_n = 90000.0;  ///< force over slip, both tyres, at the axle's weight
    double relaxation_m = 0.2;
    double axle_kg = 800.0;  ///< carried by the driven wheels
    double grip = 1.0;       ///< largest force over wheel load
};

/// Brakes of all wheels together.
struct BrakeSettings {
    Profile torque_nm;          ///< at the wheels; empty: none
    double driven_share = 0.6;  ///< of it on the driven axle
};

/// Something that the crank's front end has to turn for a while: compressor clutch, alternator.
struct AccessoryLoad {
    double from_s = 0.0;
    double to_s = 1e9;
    double torque_nm = 0.0;
    double rise_s = 0.02;  ///< straight rise and fall
};

}  // namespace kurbel::simulate
