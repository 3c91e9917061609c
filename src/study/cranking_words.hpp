// Relative compression in words and as a picture.
#pragma once

#include <string>

#include "kurbel/study/cranking.hpp"

namespace kurbel::cranking {

/// "3", or "2 or 3" where the phase is unknown.
[[nodiscard]] std::string label(const CylinderCompression& reading);

/// An SVG document: bars with ranges, and the speed of one cycle beside the model's.
[[nodiscard]] std::string picture(const RelativeCompression& result, const CrankingOptions& options,
                                  const std::string& sentence);

}  // namespace kurbel::cranking
