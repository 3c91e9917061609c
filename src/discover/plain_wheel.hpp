// Wheels of even teeth that nothing interrupts.
#pragma once

#include "discover/lines.hpp"
#include "discover/second_line.hpp"
#include "discover/wheel_finding.hpp"

namespace kurbel::discover {

/// Nothing but the second line tells how many edges make a revolution: `marks` apart lies one of them, or two.
[[nodiscard]] WheelSearch plain_wheel(const Lines& lines, const MarkLap& marks);

/// Even teeth and no second line that comes back: the errors of the teeth alone count them.
[[nodiscard]] WheelSearch ring_without_marks(const Lines& lines, Fold fold);

}  // namespace kurbel::discover
