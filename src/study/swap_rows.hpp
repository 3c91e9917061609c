// What the swap study weighs: one row a cylinder, or a pair that cannot be told apart, with its record before and after.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "kurbel/study/judged_recording.hpp"
#include "kurbel/study/misfire_process.hpp"
#include "kurbel/study/similar_conditions.hpp"
#include "study/swap_pace.hpp"

namespace kurbel::swap {

struct Row {
    std::array<int, 2> cylinder{};  ///< the second 0 where the row is one cylinder
    bool moved = false;             ///< the part of at least one of its cylinders was moved
    FiringRecord before;
    FiringRecord after;

    [[nodiscard]] bool pair() const noexcept { return cylinder[1] > 0; }
    [[nodiscard]] std::string label() const;  ///< "4", or "1 or 4"
};

struct Case {
    std::vector<Row> rows;
    /// For each way of telling which cylinder of a pair is meant: the row that each row's part went to. One map as a rule.
    std::vector<std::vector<int>> targets;
    bool paired = false;  ///< the phase is unknown on a side at least
    CommonFirings common;
    OperatingPoint point_before;
    OperatingPoint point_after;
    Pace pace;
};

/// Checks the recordings and makes the rows; `to` as moved_to() gives it. Throws WrongQuestion and read::InputError.
[[nodiscard]] Case make_case(const std::vector<JudgedRecording>& before, const std::vector<JudgedRecording>& after,
                             const std::vector<int>& to);

}  // namespace kurbel::swap
