// Scenario files that come with the program.
#pragma once

#include <string>

namespace kurbel::command {

/// The file that `name` stands for: itself where it exists, else the shipped scenario or cell of that name. Throws InputError
/// where there is neither.
[[nodiscard]] std::string scenario_file(const std::string& name);

/// All scenarios, cells and engines of `folder` (empty: what came with the program), a line each. Throws InputError where the folder
/// holds none.
[[nodiscard]] std::string scenario_list(const std::string& folder);

/// The comment at the head of a scenario file, up to the end of its first sentence; empty where there is none.
[[nodiscard]] std::string headline(const std::string& path);

}  // namespace kurbel::command
