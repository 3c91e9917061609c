// Which firings of an eight with its throws in two planes are of the same bank.
#pragma once

namespace kurbel {

/// Banks of evenly firing engines take turns, but for those of an eight with its throws in two planes, which fire left, right, left, left, right,
/// left, right, right (common practice, no source). Where in that row a firing order begins nobody need tell: all eight rows are tried.
struct BankRow {
    static constexpr int kFirings = 8;
    static constexpr int kRows = 8;

    /// Whether the firing at `place` is of the second bank, if the firing order begins `row` firings into the row.
    [[nodiscard]] static constexpr bool second(int row, int place) noexcept {
        constexpr unsigned kSecond = 0b11010010;  // bit n: the n-th to fire
        return ((kSecond >> ((place + row) % kFirings)) & 1U) != 0;
    }
};

}  // namespace kurbel
