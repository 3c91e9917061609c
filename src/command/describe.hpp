// kurbel simulate --describe and --picture.
#pragma once

#include <string>

#include "kurbel/simulate/scenario.hpp"

namespace kurbel::command {

/// What the engine of a scenario is and how it runs, in words for a person; runs it for some seconds.
[[nodiscard]] std::string description(const simulate::Scenario& scenario);

/// Speed, torque and pressures over two engine cycles, as SVG: the first in which a firing is lost on purpose within the first 20
/// seconds, else the recording's first.
[[nodiscard]] std::string picture_svg(const simulate::Scenario& scenario);

}  // namespace kurbel::command
