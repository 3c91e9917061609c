// The crank wheel: base period, whether a revolution is one or two of them, tooth places.
#pragma once

#include "discover/lines.hpp"
#include "discover/wheel_finding.hpp"

namespace kurbel::discover {

[[nodiscard]] WheelSearch search_wheel(const Lines& lines);

}  // namespace kurbel::discover
