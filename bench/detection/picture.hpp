// The table and the reliability curve as pictures.
#pragma once

#include <string>
#include <vector>

#include "outcome.hpp"

namespace kurbel_detection {

/// Misses above, false alarms below, a column a cell in the order of the table; detector, observer and classic. SVG.
[[nodiscard]] std::string cells_picture(const std::vector<Outcome>& outcomes, const std::string& title);

/// Share really lost over the probability that was told, with exact intervals, both as odds. SVG.
[[nodiscard]] std::string reliability_picture(const Reliability& reliability, const std::string& title);

}  // namespace kurbel_detection
