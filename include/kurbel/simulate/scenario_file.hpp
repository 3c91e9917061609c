// Scenario files: TOML with the tables of recording.toml and the simulator's own.
#pragma once

#include <string>

#include "kurbel/read/input_error.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

/// Reads a scenario, with the engine file that it may name (`engine_file = "../engines/inline4.toml"`, relative to its own
/// folder; its own keys win); every key that is not known is an error. Throws read::InputError naming file, line and cause.
[[nodiscard]] Scenario read_scenario(const std::string& path);

}  // namespace kurbel::simulate
