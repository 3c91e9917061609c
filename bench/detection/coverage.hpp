// Whether the interval of a cylinder's misfire rate covers the rate that the engine really has.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "kurbel/study/score.hpp"
#include "outcome.hpp"

namespace kurbel_detection {

/// Recordings at one true rate.
struct Coverage {
    double rate = 0.0;        ///< chance with which each firing of one drawn cylinder is lost
    kurbel::Share covered{};  ///< recordings whose interval of that cylinder covers the rate
    kurbel::Share counted{};  ///< ... whose exact interval of the counts alone does
    kurbel::Share
        drawn_covered{};  ///< ... the exact interval of the misfires that chance drew, the best that any detector could do
    kurbel::Share others{};  ///< intervals of the other, healthy cylinders that cover 0
    double low_mean = 0.0;   ///< of the interval's lower bounds
    double high_mean = 0.0;
    std::int64_t missed = 0;  ///< misfires of that cylinder that were not called, all recordings together
    std::int64_t called = 0;  ///< healthy firings of it that were
};

/// `recordings` short ones (12 s, an engine each, steady operation at 1500 to 3000 rpm) at each of 0, 0.1, 1, 5, 50 and 100 %, several at a time.
[[nodiscard]] std::vector<Coverage> cover(int recordings, const RunOptions& options, unsigned jobs);

[[nodiscard]] std::string coverage_markdown(const std::vector<Coverage>& rows);

}  // namespace kurbel_detection
