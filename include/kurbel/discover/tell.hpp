// A discovery in words, as a picture, as a draft of recording.toml and as JSON.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/discover/discovery.hpp"
#include "kurbel/study/answer.hpp"

namespace kurbel::discover {

/// What a description says otherwise than the edges do, a sentence each: "The description says 60-2, the edges say 36-1."
[[nodiscard]] std::vector<std::string> contradictions(const Discovery& found, const Config& described);

/// For a terminal: findings with confidence and what would raise it, contradictions, the next step. `described` may be null.
[[nodiscard]] std::string report_text(const Discovery& found, const Config* described);

/// tooth-periods.svg: the mean period of each tooth over a revolution, and what was found along it.
[[nodiscard]] std::string tooth_period_svg(const Discovery& found);

/// recording.toml as far as the edges tell it; what is not known stands there as a comment to be filled in. `timer` null: seconds.
[[nodiscard]] std::string draft_toml(const Discovery& found, const TimerConfig* timer);

/// All findings as one JSON object; unknown numbers are null.
[[nodiscard]] std::string to_json(const Discovery& found, const Config* described);

/// All of it in the shape of a study's answer: verdict is the wheel's sureness ("sure", "likely", "not sure"), table the report, picture
/// the tooth periods, evidence to_json with the draft as "draft_recording_toml".
[[nodiscard]] Answer as_answer(const Discovery& found, const Config* described, const TimerConfig* timer);

}  // namespace kurbel::discover
