// The readers of a scenario file's tables that live in files of their own.
#pragma once

#include "kurbel/simulate/scenario.hpp"
#include "read/config_toml.hpp"

namespace kurbel::simulate {

/// [wheel_error], [[tooth_fault]], [sensor], [cam_error], [[glitch]], [[dropout]], [capture] and [told]; needs the wheel.
void read_sensors(const read::TomlFile& file, Scenario& scenario);

/// [crank] [dual_mass_flywheel] [driveline] [gearbox] [converter] [tyre] [brake] [[accessory]]; after [operation].
void read_machine(const read::TomlFile& file, Scenario& scenario);

/// Says whether driveline and road can be run; part of validate().
[[nodiscard]] Status validate_machine(const Scenario& scenario) noexcept;

/// [road]; after read_machine().
void read_road(const read::TomlFile& file, Scenario& scenario);

/// Turns operation.load_share, where it is given, into operation.load: what the engine needs for that share of its full torque at
/// the speed of that moment. Needs all that torque depends on.
void resolve_load_share(Scenario& scenario);

/// [combustion], [gas_exchange], [friction], [manifold], [[deactivation]]; after the engine.
void read_combustion(const read::TomlFile& file, Scenario& scenario);

/// [starter], [start] and [idle_spark].
void read_start(const read::TomlFile& file, Scenario& scenario);

}  // namespace kurbel::simulate
