// What studies say in place of their verdict where combustion contradicts the declared TDC. Inside the library only.
#pragma once

#include <initializer_list>
#include <string>
#include <vector>

#include "kurbel/study/judged_recording.hpp"

namespace kurbel {

/// The sentence, of the first recording that is doubtful; "" where none is. Verdicts lean on TDC, so those of firings may be wrong
/// either way.
[[nodiscard]] std::string doubtful_tdc(const JudgedRecording& recording);
[[nodiscard]] std::string doubtful_tdc(std::initializer_list<const std::vector<JudgedRecording>*> sides);

}  // namespace kurbel
