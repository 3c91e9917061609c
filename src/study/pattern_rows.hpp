// The judged firings of a study of patterns, sorted by cylinder. Inside the library only.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "kurbel/study/judged_recording.hpp"
#include "kurbel/study/pattern.hpp"

namespace kurbel::study {

inline constexpr std::size_t kConditions = 4;
inline constexpr std::int64_t kFewestTested = 5;  ///< misfires of a row under which no condition is tested
inline constexpr double kStill = 0.05;  ///< p with another condition held fixed, above which nothing of its own is left

/// One row's outcomes, all vectors of one length.
struct Outcomes {
    std::int32_t cylinder = 0;
    std::array<std::int32_t, 2> candidates{};
    std::int32_t half = 0;
    std::vector<bool> misfire;
    std::vector<std::int32_t> stretch;  ///< rises where a firing between two outcomes was not judged, or was not seen
    std::vector<std::array<double, kConditions>> condition;  ///< by Condition
    std::vector<bool> company;                               ///< another cylinder misfires in the same cycle

    [[nodiscard]] std::size_t size() const noexcept { return misfire.size(); }
};

struct Sorted {
    std::vector<Outcomes> rows;  ///< as Pattern::rows, without the one of all
    Outcomes all;                ///< every judged firing
    bool since_start = false;
};

/// Throws read::InputError where engines differ or nothing was judged.
[[nodiscard]] Sorted sort_outcomes(const std::vector<JudgedRecording>& recordings);

/// Cuts of the row's range by condition and the cell of each outcome (-1: unknown).
struct Cells {
    ConditionEffect effect;  ///< known, varied, lowest, highest, cells with their counts
    std::vector<int> cell;
};
[[nodiscard]] Cells cut(const Outcomes& row, Condition condition, bool since_start);

/// How misfires follow one another: runs, bursts, period, dispersion, kind. `chance[i]` is the rate under outcome i's conditions.
void tell_kind(PatternRow& row, const Outcomes& outcomes, const std::vector<double>& chance, double false_alarm,
               int rows_tested);

/// What the pattern is common for, and what to measure next.
[[nodiscard]] std::vector<CommonCause> common_causes(const Pattern& pattern);
[[nodiscard]] std::vector<NextMeasurement> next_measurements(const Pattern& pattern);

/// picture.svg of the study.
[[nodiscard]] std::string pattern_picture(const Pattern& pattern, const std::vector<JudgedRecording>& recordings);

/// "cylinder 4", "one of cylinders 2 and 3 (the first of each cycle)", "all cylinders together".
[[nodiscard]] std::string row_name(const PatternRow& row);
/// "2000 to 2500 rpm".
[[nodiscard]] std::string range_text(Condition condition, double low, double high);

}  // namespace kurbel::study
