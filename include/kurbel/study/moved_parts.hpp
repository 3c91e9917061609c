// Which parts were moved between cylinders.
#pragma once

#include <string>
#include <vector>

namespace kurbel {

/// The part of cylinder `from` went to cylinder `to`.
struct Move {
    int from = 0;
    int to = 0;
};

/// "4:1" for each entry. Throws WrongQuestion, which says how it is written.
[[nodiscard]] std::vector<Move> parse_moves(const std::vector<std::string>& words);

/// Where each cylinder's part went: entry c (1 to `cylinders`; entry 0 unused) is the cylinder that has the part of c now; c itself
/// where nothing moved. A pair whose cylinders stand in no other pair is an exchange; others must close rings. Throws WrongQuestion
/// with what to do: a part that went to its own cylinder, cylinders that are not there, rings that do not close, two parts at one
/// place.
[[nodiscard]] std::vector<int> moved_to(const std::vector<Move>& moves, int cylinders);

}  // namespace kurbel
