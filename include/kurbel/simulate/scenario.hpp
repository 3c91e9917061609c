// All that one run of the engine on paper is made of, as plain values. A scenario file fills it; C++ may fill it directly.
// Defaults are engineering ranges for a car's petrol engine (values from memory, no single source) unless a source stands
// beside them.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/simulate/combustion_settings.hpp"
#include "kurbel/simulate/machine_settings.hpp"
#include "kurbel/simulate/manifold_settings.hpp"
#include "kurbel/simulate/profile.hpp"
#include "kurbel/simulate/road_settings.hpp"
#include "kurbel/simulate/sensor_settings.hpp"
#include "kurbel/simulate/start_settings.hpp"

namespace kurbel::simulate {

/// How the engine is loaded.
enum class Operation : std::uint8_t {
    neutral = 0,   ///< clutch open; an idle governor sets the charge so that `speed_rpm` is held slowly
    hold = 1,      ///< in gear, `load` as given, a slow brake holds `speed_rpm`
    road = 2,      ///< in gear on a road: `load` as given, or a slow driver holds `speed_rpm` where no load is given
    cranking = 3,  ///< clutch open, a starter turns the engine; no governor
    start = 4      ///< clutch open, the engine is started and idles, may stall and be started again
};

struct OperationSettings {
    Operation mode = Operation::neutral;
    Profile speed_rpm{800.0};    ///< of the crank
    Profile speed_kmh;           ///< of the vehicle, with a gearbox: replaces `speed_rpm` as what brake or driver hold
    Profile load;                ///< relative charge; empty in neutral
    Profile load_share;          ///< of the full torque at that speed; a scenario file may give it in the place of load
    double control_rad_s = 2.0;  ///< bandwidth of governor, brake or driver; far below one cycle's rate
    double manifold_s = 0.15;    ///< time constant of the charge
    double lowest_load = 0.12;
    double highest_load = 1.0;
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
    bool keeps_mixture = true;   ///< the lost share stays as unburnt mixture (no spark); false: its fuel is missing
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
    double chatter = 0.0;          ///< share of crank edges that bounce: followed by one to three more
    double chatter_s = 100e-6;     ///< within so long
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
    ManifoldSettings manifold{};
    FrictionSettings friction{};
    CrankSettings crank{};
    OperationSettings operation{};
    DualMassSettings dual_mass{};
    DrivelineSettings driveline{};
    GearboxSettings gearbox{};
    ConverterSettings converter{};
    TyreSettings tyre{};
    BrakeSettings brake{};
    std::vector<AccessoryLoad> accessories;
    RoadSettings road{};
    StarterSettings starter{};
    StartSettings start{};
    IdleSparkSettings idle_spark{};
    std::vector<MisfireRule> misfires;
    std::vector<FuelCut> fuel_cuts;
    std::vector<Deactivation> deactivations;
    WheelErrorSettings wheel_error{};
    std::vector<ToothFault> tooth_faults;
    SensorSettings sensor{};
    CamErrorSettings cam_error{};
    std::vector<Glitch> glitches;
    std::vector<Dropout> dropouts;
    CaptureSettings capture{};
    ToldSettings told{};
    ChannelSettings channels{};
};

/// The seed that tooth errors and cylinder spread are drawn from.
[[nodiscard]] constexpr std::uint64_t machine_seed(const Scenario& scenario) noexcept {
    return scenario.machine_seed > 0 ? scenario.machine_seed : scenario.seed;
}

/// Says whether the scenario can be run; names the parameter that is wrong.
[[nodiscard]] Status validate(const Scenario& scenario) noexcept;

}  // namespace kurbel::simulate
