// Swap test: a part was moved between cylinders. Did the misfire go with it?
#pragma once

#include <vector>

#include "kurbel/study/answer.hpp"
#include "kurbel/study/judged_recording.hpp"
#include "kurbel/study/moved_parts.hpp"

namespace kurbel {

struct SwapOptions {
    /// `followed` and `stayed` are said where their probability is at least this, above 0.5 and below 1; `vanished` and `other`, which
    /// only ask to look further, where 1 - probability is at most 5/3 of 1 - this.
    double decide = 0.96;
    /// Also work out how much longer to record where the verdict is undecided.
    bool forecast = true;
};

/// Compares recordings made before and after parts were moved; `moves` as moved_to() takes them.
///
/// Verdict: `followed` (the misfire went where the part went), `stayed` (it remained with the cylinder), `vanished` (no misfire is
/// left anywhere), `other` (a pattern that no single moved part explains, also where the cylinder that misfires was not among the
/// moved ones) or `undecided`.
///
/// Each explanation says which cylinders are faulty before and after, and whose fault each has; beforehand the four verdicts are
/// equally likely. A faulty cylinder misfires as MisfireProcess says, at any rate and in clusters of any length; a healthy one is
/// called a misfire at the false-alarm floor, and at a small share of what the others lose (misread neighbours). Rates are unknown and
/// summed over; between the recordings a rate may drift, mostly a little. A second place has the same fault's rate or one of its
/// own, either as likely. The probabilities are Bayes' rule over all explanations. Only firings under similar conditions count
/// (similar_conditions.hpp). Where the phase is unknown, cylinders that cannot be told apart are one row.
///
/// evidence: `probabilities`, `more_seconds` (tenths; how much longer AFTER must be at this operating point for an 80 % chance
/// of a decision if there is a fault; null where it is decided, where BEFORE shows no fault, or where that alone would hardly help),
/// `rows`, `conditions`, `dispersion`, `exact_tests`.
///
/// Throws WrongQuestion (moves, options, the same recording on both sides) and read::InputError (engines that differ, nothing judged,
/// no similar conditions), each with what to do.
[[nodiscard]] Answer study_swap(const std::vector<JudgedRecording>& before, const std::vector<JudgedRecording>& after,
                                const std::vector<Move>& moves, const SwapOptions& options = {});

}  // namespace kurbel
