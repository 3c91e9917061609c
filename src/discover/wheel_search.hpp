// The crank wheel: base period, whether a revolution is one or two of them, tooth places.
#pragma once

#include "discover/fold.hpp"
#include "discover/lines.hpp"
#include "discover/second_line.hpp"
#include "discover/tooth_pattern.hpp"
#include "kurbel/discover/discovery.hpp"

namespace kurbel::discover {

struct WheelSearch {
    WheelFinding finding;
    Fold turns;  ///< whole revolutions
    ToothPattern pattern;
};

[[nodiscard]] WheelSearch search_wheel(const Lines& lines);

}  // namespace kurbel::discover
