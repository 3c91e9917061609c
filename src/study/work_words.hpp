// Work per cylinder in words and as a picture.
#pragma once

#include <string>

#include "kurbel/study/work.hpp"

namespace kurbel::work {

/// "3", or "2 or 3" where the phase is unknown.
[[nodiscard]] std::string label(const CylinderWork& row);

/// An SVG document: each cylinder's work against the others with its range, and its scatter.
[[nodiscard]] std::string picture(const WorkBalance& balance, const WorkOptions& options, const std::string& sentence);

}  // namespace kurbel::work
