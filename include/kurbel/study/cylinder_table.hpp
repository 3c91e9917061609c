// The table that a tally comes to: one line a cylinder, or a pair that cannot be told apart, with its rate and interval.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/stage/tally.hpp"
#include "kurbel/study/binomial.hpp"

namespace kurbel {

/// One line. `rate` is misfires over judged, NaN where none was judged; `interval` its exact 95 % interval.
struct CylinderLine {
    TallyRow counts{};
    double rate = kUnknown;
    Interval interval{};
};

struct CylinderTable {
    std::vector<CylinderLine> lines;  ///< cylinders in order of number, then pairs
    std::int64_t unplaced = 0;        ///< firings in no line: unjudged ones of the time before the cylinder was known
};

/// Makes the table of an engine with `cylinders` cylinders. Where cylinders are known each has a line, also without firings;
/// pairs have one where they hold judged firings, or where nothing but pairs is known. Allocates.
[[nodiscard]] inline CylinderTable cylinder_table(const Tally& tally, int cylinders) {
    const auto line_of = [](const TallyRow& row) {
        CylinderLine line{row, kUnknown, exact_interval(row.misfires, row.judged)};
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
