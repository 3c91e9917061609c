// All that one run of the engine on paper is made of, as plain values. A scenario file fills it; C++ may fill it directly.
// Defaults are engineering ranges for a car's petrol engine (values from memory, no single source) unless a source stands
// beside them.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/simulate/profile.hpp"

namespace kurbel::simulate {

/// What the cylinders breathe and burn.
struct CombustionSettings {
    double ambient_bar = 1.013;
    double charge_k = 330.0;  ///< temperature of the charge at the start of compression
    double heat_j_per_kg_air =
        2.925e6;               ///< stoichiometric petrol: 43 MJ/kg over 14.7 (Heywood 1988, app. D; from memory)
    double heat_share = 0.76;  ///< of it that is burnt and not lost to the walls
    double compression_exponent = 1.32;   ///< polytropic, 1.3 +- 0.05 (Heywood 1988, sec. 9.2; value from memory)
    double expansion_exponent = 1.32;     ///< polytropic, after TDC
    double ca50_deg = 9.0;                ///< half of the heat released, degrees after TDC
    double burn_deg = 55.0;               ///< 0 to 99.3 % of the heat at high load
    double burn_low_load_deg = 75.0;      ///< the same at load 0.25
    double scatter = 0.03;                ///< COV of gross indicated work at load 0.6 and above
    double scatter_low_load = 0.08;       ///< the same at load 0.25 and below
    double scatter_skewness = -0.6;       ///< of one cylinder's work; negative: slow burns
    double ca50_scatter_deg = 1.5;        ///< cycle to cycle, standard deviation
    double residual_share = 0.07;         ///< residual gas at equal intake and exhaust pressure
    bool throttled = true;                ///< false: the charge is always full and `load` sets the fuel alone (diesel)
    double spread = 0.02;                 ///< between cylinders, standard deviation of the heat, drawn by seed
    std::vector<double> cylinder_factor;  ///< heat of each cylinder relative to the nominal one; replaces `spread`
    std::vector<double> leak_mm2;         ///< effective leak area of each cylinder past rings and valves
};

/// Valves and flow, the same for all cylinders.
struct GasExchangeSettings {
    double intake_closing_deg = -140.0;  ///< from firing TDC; two-stroke: port closing, -100 say
    double exhaust_opening_deg = 125.0;  ///< from firing TDC; two-stroke: 100 say
    double overlap_deg = 40.0;           ///< whole width of the change from exhaust to intake pressure
    double exhaust_bar = 0.02;           ///< above ambient, at rest
    double flow_pa_per_m2_s2 = 50.0;     ///< pressure loss past the valves over piston speed squared
};

/// Friction mean effective pressure a + b N + c N^2, bar, N in 1000 rpm. With the gas exchange computed apart, the sum comes
/// near Heywood 1988, ch. 13: 0.97 + 0.15 N + 0.05 N^2 with pumping (value from memory).
struct FrictionSettings {
    double constant_bar = 0.75;
    double linear_bar = 0.15;
    double square_bar = 0.03;
    double accessories_nm = 2.0;
};

/// The crank as a chain: pulley, one inertia per throw, flywheel.
struct CrankSettings {
    double pulley_share = 0.08;           ///< of engine.inertia_kg_m2
    double throws_share = 0.22;           ///< all throws together; the flywheel has the rest
    double first_torsion_hz = 400.0;      ///< first mode of the free chain with mean reciprocating inertia
    double damping_ratio = 0.02;          ///< of that mode; proportional to stiffness, so higher modes are damped more
    double pulley_stiffness_share = 1.0;  ///< pulley's shaft relative to the shaft between two throws
};

/// How the engine is loaded.
enum class Operation : std::uint8_t {
    neutral = 0,  ///< clutch open; an idle governor sets the charge so that `speed_rpm` is held slowly
    hold = 1,     ///< in gear, `load` as given, a slow brake holds `speed_rpm`
    road = 2,     ///< in gear on a road: `load` as given, or a slow driver holds `speed_rpm` where no load is given
    cranking = 3  ///< clutch open, a starter turns the engine; no governor
};

struct OperationSettings {
    Operation mode = Operation::neutral;
    Profile speed_rpm{800.0};
    Profile load;                ///< relative charge; empty in neutral
    double control_rad_s = 2.0;  ///< bandwidth of governor, brake or driver; far below one cycle's rate
    double manifold_s = 0.15;    ///< time constant of the charge
    double lowest_load = 0.12;
    double highest_load = 1.0;
};

/// Vehicle behind clutch and shafts, all referred to the crank; used in `hold` and `road`.
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

/// Direct-current starter as a straight line; freewheels when the engine is faster.
struct StarterSettings {
    double stall_nm = 170.0;  ///< at the crank
    double free_rpm = 280.0;  ///< at the crank
    double from_s = 0.0;
    double to_s = 1e9;
    double ratio_inertia_kg_m2 = 0.02;  ///< armature through the pinion, felt while engaged
};

enum class MisfirePattern : std::uint8_t { continuous = 0, random = 1, periodic = 2, burst = 3 };

/// Misfires on purpose. Where several rules meet, the most severe wins.
struct MisfireRule {
    MisfirePattern pattern = MisfirePattern::random;
    std::vector<int> cylinders;  ///< empty: all
    double rate = 0.03;          ///< random: share of firings; burst: share of firings that start one
    int every = 10;              ///< periodic: one in so many firings of the named cylinders
    int length = 4;              ///< burst: firings of that cylinder in a row
    double severity = 1.0;       ///< share of the heat removed
    double from_s = -1e9;
    double to_s = 1e9;
    double highest_load = 1e9;  ///< only where the charge is at most this
    double highest_rpm = 1e9;   ///< only up to this speed
};

/// Time without fuel; `cylinder` 0 means all.
struct FuelCut {
    int cylinder = 0;
    double from_s = -1e9;
    double to_s = 1e9;
};

/// What sensor, wheel and capture unit do to the edges.
struct WheelErrorSettings {
    double pitch_deg = 0.0;        ///< fixed error of each tooth, standard deviation
    double run_out_deg = 0.0;      ///< amplitude once a revolution, phase by seed
    double jitter_deg = 0.0;       ///< of each edge, standard deviation
    double jitter_s = 0.0;         ///< of each edge, standard deviation
    double missed = 0.0;           ///< share of crank edges lost
    double extra = 0.0;            ///< share of crank edges followed by one that is no tooth
    double weak_tooth = 0.0;       ///< share of revolutions in which the first tooth after the gap gives no edge
    double gap_shift_pitch = 0.0;  ///< how much later the first tooth after the gap shows, in pitches
    double cam_deg = 0.0;          ///< fixed error of the cam edges, crank degrees
};

struct ChannelSettings {
    bool write = true;
    double every_s = 0.01;
    double load_noise = 0.005;  ///< standard deviation
    double load_gain = 1.0;     ///< error of the load sensor
    Profile coolant_c{85.0};
};

struct Scenario {
    EngineConfig engine{};  ///< with all of geometry and masses
    WheelConfig crank_wheel{};
    CamConfig cam_wheel{};
    TimerConfig timer{};
    bool has_timer = false;          ///< false: edges as seconds in 1 ns
    std::uint64_t seed = 1;          ///< of what changes from run to run
    std::uint64_t machine_seed = 0;  ///< of what the machine keeps: tooth errors, spread of cylinders; 0: as `seed`
    double seconds = 30.0;
    double settle_s = 5.0;    ///< run before the recording begins; 0 when cranking
    double start_deg = -1.0;  ///< crank angle at the start of the run; negative: drawn by seed
    double step_s = 0.0;      ///< longest time step; 0: from the highest torsion frequency and speed
    CombustionSettings combustion{};
    GasExchangeSettings gas_exchange{};
    FrictionSettings friction{};
    CrankSettings crank{};
    OperationSettings operation{};
    DrivelineSettings driveline{};
    StarterSettings starter{};
    std::vector<MisfireRule> misfires;
    std::vector<FuelCut> fuel_cuts;
    WheelErrorSettings wheel_error{};
    ChannelSettings channels{};
};

/// The seed that tooth errors and cylinder spread are drawn from.
[[nodiscard]] constexpr std::uint64_t machine_seed(const Scenario& scenario) noexcept {
    return scenario.machine_seed > 0 ? scenario.machine_seed : scenario.seed;
}

/// Says whether the scenario can be run; names the parameter that is wrong.
[[nodiscard]] Status validate(const Scenario& scenario) noexcept;

}  // namespace kurbel::simulate
