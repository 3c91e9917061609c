// Published figures beside ours, where they compare.
#pragma once

#include <string>
#include <vector>

#include "outcome.hpp"

namespace kurbel_detection {

/// A Markdown table. Sources and what was read of them stand in the rows; none of their recordings is at hand, so that conditions are alike in
/// kind only.
[[nodiscard]] std::string published_markdown(const std::vector<Outcome>& outcomes);

}  // namespace kurbel_detection
