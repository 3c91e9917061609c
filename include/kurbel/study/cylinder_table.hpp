// The table that a tally comes to: one line a cylinder, or a pair that cannot be told apart, with its rate and interval.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/stage/tally.hpp"
#include "kurbel/study/binomial.hpp"

namespace kurbel {

/// One line. `rate` is misfires over judged, NaN where none was judged; `interval` the 95 % interval of the rate behind it.
struct CylinderLine {
    TallyRow counts{};
    double rate = kUnknown;
    Interval interval{};
};

struct CylinderTable {
    std::vector<CylinderLine> lines;  ///< cylinders in order of number, then pairs
    std::int64_t unplaced = 0;        ///< firings in no line: unjudged ones of the time before the cylinder was known
};

/// The exact interval of a row's rate, widened where verdicts may be wrong: its lower bound allows for as many of the misfires to
/// be healthy firings, the upper one for as many misfires to have passed, as the probabilities of the single firings (a Poisson
/// number, of many rare events) let happen more than once in forty. Where all are sure it is that of Clopper and Pearson.
[[nodiscard]] inline Interval rate_interval(const TallyRow& row) noexcept {
    constexpr double kSide = 0.025;
    const std::int64_t fired = row.judged - row.misfires;
    const std::int64_t healthy = poisson_limit(row.healthy_called, kSide, row.misfires);
    const std::int64_t passed = poisson_limit(row.misfires_passed, kSide, fired);
    return {exact_interval(row.misfires - healthy, row.judged).low,
            exact_interval(row.misfires + passed, row.judged).high};
}

/// Makes the table of an engine with `cylinders` cylinders. Where cylinders are known each has a line, also without firings;
/// pairs have one where they hold judged firings, or where nothing but pairs is known. Allocates.
[[nodiscard]] inline CylinderTable cylinder_table(const Tally& tally, int cylinders) {
    const auto line_of = [](const TallyRow& row) {
        CylinderLine line{row, kUnknown, rate_interval(row)};
        if (row.judged > 0) line.rate = static_cast<double>(row.misfires) / static_cast<double>(row.judged);
        return line;
    };
    CylinderTable table;
    std::int64_t known = 0;
    std::int64_t paired = 0;
    for (int number = 1; number <= kMaxCylinders; ++number) {
        known += tally.cylinder(number).firings;
        paired += tally.candidates(number).firings;
    }
    const bool by_cylinder = known > 0 || paired == 0;
    for (int number = 1; by_cylinder && number <= cylinders; ++number) {
        TallyRow row = tally.cylinder(number);
        row.cylinder = number;
        table.lines.push_back(line_of(row));
    }
    table.unplaced = tally.nameless().firings;
    for (int number = 1; number <= kMaxCylinders; ++number) {
        const TallyRow& row = tally.candidates(number);
        if (row.firings == 0) continue;
        if (row.judged > 0 || !by_cylinder)
            table.lines.push_back(line_of(row));
        else
            table.unplaced += row.firings;
    }
    return table;
}

}  // namespace kurbel
