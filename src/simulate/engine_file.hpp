// Scenarios that stand on an engine file.
#pragma once

#include "read/config_toml.hpp"

namespace kurbel::simulate {

/// `scenario` with what the file named by its key `engine_file` holds filled in beneath it: keys of the scenario win, lists
/// are replaced whole. The name is relative to the scenario's folder. An engine file may not name another. A wheel of the
/// scenario's own (its teeth named) replaces the engine file's teeth. Without the key the scenario comes back as it is.
[[nodiscard]] read::TomlFile with_engine_file(read::TomlFile scenario);

}  // namespace kurbel::simulate
