// Repair verification of a recording: the live test of verify.hpp, run over what was recorded.
#pragma once

#include "kurbel/study/answer.hpp"
#include "kurbel/study/judged_recording.hpp"
#include "kurbel/study/verify.hpp"

namespace kurbel {

struct VerifyOptions {
    double limit_percent = 1.0;
    double confidence_percent = 95.0;
};

/// Asks a recording made after a repair whether cylinder `cylinder` still misfires; `before`, where not null, is one made with the
/// fault: it tells how misfires cluster and under which conditions they came.
///
/// Verdict: `gone`, `remains` or `undecided`. evidence: `stopped_s` (when the test could have ended), `rate_upper` (holds whenever one
/// stops), `clean_needed` and `more_seconds` where undecided, `plan`, `errors` (exact), `covered` and, given BEFORE, `not_covered`.
///
/// Throws WrongQuestion (a cylinder that is not there, limits out of range) and read::InputError (nothing judged, engines that differ).
[[nodiscard]] Answer study_verify(const JudgedRecording& recording, int cylinder, const VerifyOptions& options = {},
                                  const JudgedRecording* before = nullptr);

}  // namespace kurbel
