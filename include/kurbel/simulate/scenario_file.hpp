// Scenario files: TOML with the tables of recording.toml and the simulator's own.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "kurbel/read/input_error.hpp"
#include "kurbel/simulate/scenario.hpp"

namespace kurbel::simulate {

/// Reads a scenario, with the engine file that it may name (`engine_file = "../engines/inline4.toml"`, relative to its own
/// folder; its own keys win); every key that is not known is an error. Throws read::InputError naming file, line and cause.
///
/// A number of the file may be a range, `bore_mm = { from = 74, to = 90 }`, and any value one of several,
/// `at = { one_of = ["front", "flywheel"] }`; they are drawn by `draw`, else by the file's [scenario] draw, else by 1. The same
/// draw always gives the same scenario.
[[nodiscard]] Scenario read_scenario(const std::string& path, std::optional<std::uint64_t> draw = {});

/// The scenario as TOML with nothing left to draw, which read_scenario reads as the same scenario; errors as there.
[[nodiscard]] std::string drawn_scenario(const std::string& path, std::optional<std::uint64_t> draw = {});

}  // namespace kurbel::simulate
