// Where and when an engine misfires: which conditions raise the rate, and whether misfires come at random, in bursts, at a
// steady distance or all the time.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "kurbel/core/types.hpp"
#include "kurbel/study/answer.hpp"
#include "kurbel/study/binomial.hpp"
#include "kurbel/study/coincidence.hpp"
#include "kurbel/study/judged_recording.hpp"
#include "kurbel/study/runs.hpp"

namespace kurbel {

/// How misfires follow one another, firing by firing of one cylinder.
enum class PatternKind : std::uint8_t {
    none,        ///< no more misfires than false alarms explain
    random,      ///< no burst and no period, where either would have shown
    bursts,      ///< come together
    periodic,    ///< at a steady number of firings
    continuous,  ///< more than nine firings in ten
    undecided    ///< too few misfires to tell
};

/// What an operating point consists of.
enum class Condition : std::uint8_t { speed, load, coolant, time };

/// How the rate follows a condition.
enum class Lean : std::uint8_t { none, rises, falls, peaks };

[[nodiscard]] const char* name(PatternKind kind) noexcept;
[[nodiscard]] const char* name(Condition condition) noexcept;
[[nodiscard]] const char* name(Lean lean) noexcept;

/// Firings in one range of a condition. `interval` is the exact 95 % one on counts divided by the row's dispersion.
struct ConditionCell {
    double low = 0.0;
    double high = 0.0;
    std::int64_t judged = 0;
    std::int64_t misfires = 0;
    double rate = kUnknown;
    Interval interval{};
};

/// One condition's hold on one row.
struct ConditionEffect {
    Condition condition = Condition::speed;
    bool known = false;   ///< measured at all
    bool varied = false;  ///< changed by more than "similar conditions" allow, so that there is something to compare
    double lowest = kUnknown;  ///< of the judged firings (1 in 200 left out at either end)
    double highest = kUnknown;
    std::vector<ConditionCell> cells;  ///< at least two where `varied`
    double p = kUnknown;               ///< BlockTest; NaN: not tested
    double p_adjusted = kUnknown;      ///< after Holm, over all tests of the study
    double p_alone = kUnknown;         ///< largest p with one other telling condition held fixed; NaN: none to hold
    Lean lean = Lean::none;            ///< none unless p_adjusted says so
    int top = -1;                      ///< cell with the highest rate
    double ratio = kUnknown;           ///< rate there over the rate elsewhere, with its 95 % interval
    double ratio_low = kUnknown;
    double ratio_high = kUnknown;

    [[nodiscard]] bool matters() const noexcept { return lean != Lean::none; }
};

/// One cylinder, one of two that cannot be told apart, or all together.
struct PatternRow {
    std::int32_t cylinder = 0;                 ///< 0: see candidates
    std::array<std::int32_t, 2> candidates{};  ///< both 0 and cylinder 0: all cylinders together
    std::int32_t half = 0;                     ///< of candidates: 1 or 2, the first or second of them in each cycle
    std::int64_t judged = 0;
    std::int64_t misfires = 0;
    Interval interval{};      ///< of the rate, 95 %, on counts divided by `dispersion`
    double dispersion = 1.0;  ///< variance of counts over that of independent firings, at least 1
    PatternKind kind = PatternKind::undecided;
    RunsTest runs{};
    double mean_burst = kUnknown;      ///< misfires in a row, on average
    double p_bursts = kUnknown;        ///< chance that independent firings come together this much
    int period = 0;                    ///< firings of the row from misfire to misfire; 0: none found
    double p_periodic = kUnknown;      ///< adjusted for the number of distances that were tried
    double period_share = kUnknown;    ///< share of misfires that are followed by one a period later
    std::int64_t misfires_needed = 0;  ///< to tell bursts from chance; at most `misfires` where that is done
    double p_together = kUnknown;      ///< chance that it misfires with other cylinders this much in the same cycle
    double together_ratio = kUnknown;  ///< rate in cycles where another cylinder misfires over that in other cycles
    std::vector<ConditionEffect> conditions;

    [[nodiscard]] bool all() const noexcept { return cylinder == 0 && candidates[0] == 0; }
    [[nodiscard]] double rate() const noexcept {
        return judged > 0 ? static_cast<double>(misfires) / static_cast<double>(judged) : kUnknown;
    }
};

/// What would tell the next thing.
struct NextMeasurement {
    std::string what;  ///< "Record 90 s at idle and 90 s ..."
    std::string why;
    double seconds = kUnknown;  ///< of each recording, where it can be computed
};

/// A cause that a pattern is common for. Common practice, no source.
struct CommonCause {
    std::string pattern;
    std::string causes;
};

struct Pattern {
    std::vector<PatternRow>
        rows;                  ///< cylinders in order, then pairs' halves; then all together where two or more misfire
    int worst = -1;            ///< the row with most misfires; -1 without rows
    double seconds = 0.0;      ///< recorded
    double judged_s = 0.0;     ///< of which stand behind judged firings
    bool since_start = false;  ///< Condition::time counts from where the engine began to run, else along the recording
    double mean_rpm = kUnknown;
    int strokes = 4;
    std::vector<CommonCause> causes;
    std::vector<NextMeasurement> next;
};

/// Compares the firings of one or more recordings of one engine.
///
/// Conditions: a difference counts where it exceeds what the rules call similar conditions, 375 rpm and 20 % load (13 CCR 1968.2
/// (c), values from memory), and 20 degrees of coolant (ours). Tests by BlockTest, all of them together after Holm at 1 %: by
/// cell for speed and load, by trend for coolant and time (the logarithm of time since the start). A condition that moved along
/// with another is tested with the other held fixed. Kinds: runs test (exact) and coincidences at each distance of up to a
/// quarter of the row, at 1 % over all rows; a burst must also be worth the name (odds of a misfire after one at least
/// doubled); where a condition matters, chances follow it, so that a load step is not taken for a burst.
/// Throws WrongQuestion without recordings, read::InputError where engines differ or no firing was judged.
[[nodiscard]] Pattern find_pattern(const std::vector<JudgedRecording>& recordings);

/// The study: find_pattern in words, with table, evidence, cautions and picture. Verdict: the kind of the worst row.
[[nodiscard]] Answer pattern(const std::vector<JudgedRecording>& recordings);

}  // namespace kurbel
