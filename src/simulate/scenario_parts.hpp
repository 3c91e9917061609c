// The readers of a scenario file's tables that live in files of their own.
#pragma once

#include "kurbel/simulate/scenario.hpp"
#include "read/config_toml.hpp"

namespace kurbel::simulate {

/// [wheel_error], [[tooth_fault]], [sensor], [cam_error], [[glitch]], [[dropout]] and [capture]; needs the wheel.
void read_sensors(const read::TomlFile& file, Scenario& scenario);

}  // namespace kurbel::simulate
