// How well events agree with the truth: misses, false alarms, wrong cylinders, surplus and absent events.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "kurbel/core/types.hpp"
#include "kurbel/read/recording.hpp"
#include "kurbel/study/binomial.hpp"

namespace kurbel {

/// What counts as a misfire and as healthy in the truth; what lies between is partial and reported apart.
struct ScoreOptions {
    double misfire_severity = 0.5;  ///< at least this: a misfire; above healthy_severity, at most 1
    double healthy_severity = 0.1;  ///< at most this: healthy; 0 or more
};

/// So many of so many.
struct Share {
    std::int64_t count = 0;
    std::int64_t of = 0;

    /// The share; NaN of none.
    [[nodiscard]] double rate() const noexcept {
        return of > 0 ? static_cast<double>(count) / static_cast<double>(of) : kUnknown;
    }
    /// Its exact 95 % interval.
    [[nodiscard]] Interval interval() const noexcept { return exact_interval(count, of); }
};

/// The counts. Truth rows with fuel_cut, and those without a label, are neither misfire nor healthy.
struct Score {
    std::int64_t truth_firings = 0;
    std::int64_t events = 0;
    std::int64_t matched = 0;
    Share missed;  ///< true misfires not called (not called, unjudged, or without an event) of those that count
    Share missed_unjudged;     ///< ... of which: the event was unjudged
    Share missed_absent;       ///< ... of which: there was no event
    std::int64_t excused = 0;  ///< true misfires unjudged for fuel_cut or cranking: not counted
    Share false_alarms;        ///< misfire verdicts among healthy firings that were judged
    Share wrong_cylinder;      ///< among called true misfires: the cylinder is another, or not among the candidates
    Share misnamed;            ///< the same among all matched events that name a cylinder or candidates
    Share partial_called;      ///< misfire verdicts among partial misfires that were judged
    std::int64_t fuel_cut_firings = 0;  ///< truth rows with fuel_cut
    std::int64_t fuel_cut_called = 0;   ///< misfire verdicts among them
    std::int64_t unlabelled = 0;        ///< truth rows without a severity
    std::int64_t healthy_unjudged = 0;  ///< healthy firings with an unjudged event
    std::int64_t surplus = 0;           ///< events that no true firing belongs to
    std::int64_t surplus_called = 0;    ///< misfire verdicts among them
    std::int64_t absent = 0;            ///< true firings without an event
    std::int64_t absent_at_ends = 0;    ///< ... of which: before the first or after the last event
};

/// For each truth row the index of the event that belongs to it, or -1: each event goes with the truth row nearest in time, where
/// that lies within a quarter of the distance to the truth row's nearer neighbour; where two events want one row the nearer
/// one has it. Both lists in order of time. Allocates.
[[nodiscard]] std::vector<std::ptrdiff_t> match_events(const std::vector<Event>& events,
                                                       const std::vector<read::TruthRow>& truth);

/// Counts over events and truth as match_events() joins them. Allocates.
[[nodiscard]] Score score(const std::vector<Event>& events, const std::vector<read::TruthRow>& truth,
                          const ScoreOptions& options = {});

}  // namespace kurbel
