// Outcomes as text: a Markdown table for people, comma-separated values for programs.
#pragma once

#include <string>
#include <vector>

#include "outcome.hpp"

namespace kurbel_detection {

/// One line for the terminal while the cells run.
[[nodiscard]] std::string progress_line(const Outcome& outcome);

/// The whole table with the sums below it.
[[nodiscard]] std::string markdown(const std::vector<Outcome>& outcomes);

/// A row a cell, with a header; shares as counts, so that nothing is rounded.
[[nodiscard]] std::string cells_csv(const std::vector<Outcome>& outcomes);

/// A row a missed misfire or false alarm, with a header.
[[nodiscard]] std::string faults_csv(const std::vector<Outcome>& outcomes);

}  // namespace kurbel_detection
