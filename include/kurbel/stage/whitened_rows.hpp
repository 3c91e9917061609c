// Cholesky's decomposition of a small covariance that takes further rows along.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>

namespace kurbel {

/// Lower triangle of a symmetric matrix, with further rows beneath it which the decomposition leaves whitened: what a forward
/// substitution would make of them afterwards, at the price of one pass. Column by column: fill all of (*this)[j], with zeros where it
/// has no rows, then finish(j). No allocation.
template <class Real, std::size_t kMostColumns, std::size_t kMostFurther>
class WhitenedRows {
  public:
    static constexpr std::size_t kBlock = 8;
    using Column = std::array<Real, (kMostColumns + kMostFurther + kBlock - 1) / kBlock * kBlock>;

    [[nodiscard]] Column& operator[](std::size_t j) noexcept { return column_[j]; }
    [[nodiscard]] const Column& operator[](std::size_t j) const noexcept { return column_[j]; }

    /// Decomposes column j, where those before it are done. `rows`: of the matrix and beneath it. Returns the root on the diagonal, 0 where
    /// the matrix is not positive definite.
    [[nodiscard]] Real finish(std::size_t j, std::size_t rows) noexcept {
        const std::size_t from = j / kBlock * kBlock;
        for (std::size_t first = from; first < rows; first += kBlock) take_out(j, first);
        Column& column = column_[j];
        if (!(column[j] > Real(0))) return Real(0);
        const Real root = std::sqrt(column[j]);
        for (std::size_t first = from; first < rows; first += kBlock)
            for (std::size_t i = 0; i < kBlock; ++i) column[first + i] /= root;
        return root;
    }

  private:
    /// Takes all columns before column j out of kBlock rows of it, which meanwhile stay in registers.
    void take_out(std::size_t j, std::size_t first) noexcept {
        std::array<Real, kBlock> left;
        for (std::size_t i = 0; i < kBlock; ++i) left[i] = column_[j][first + i];
        for (std::size_t before = 0; before < j; ++before) {
            const Real factor = column_[before][j];
            for (std::size_t i = 0; i < kBlock; ++i) left[i] -= factor * column_[before][first + i];
        }
        for (std::size_t i = 0; i < kBlock; ++i) column_[j][first + i] = left[i];
    }

    std::array<Column, kMostColumns> column_;
};

}  // namespace kurbel
