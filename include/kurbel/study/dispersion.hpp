// How much more counts of misfires vary from block to block than independent losses would.
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>

#include "kurbel/core/types.hpp"

namespace kurbel {

/// Collects misfires in blocks of `length` firings, one firing after the other; a shorter last block is left out.
///
/// ratio(): sample variance of the counts over that of independent losses at the same mean rate, length p (1 - p): 1 for independent
/// losses, above 1 where they cluster (Pearson's index of dispersion over its degrees of freedom; quasi-binomial models inflate
/// variances by it: McCullagh & Nelder, Generalized Linear Models, 1989, ch. 4.5, from memory). No allocation.
class BlockDispersion {
  public:
    explicit BlockDispersion(int length = 50) noexcept : length_(length > 0 ? length : 1) {}

    void push(bool misfire) noexcept {
        in_block_ += misfire ? 1 : 0;
        if (++firings_ < length_) return;
        ++blocks_;
        sum_ += static_cast<double>(in_block_);
        square_ += static_cast<double>(in_block_) * static_cast<double>(in_block_);
        firings_ = 0;
        in_block_ = 0;
    }
    /// A block begun before a break is dropped: its firings would not follow each other.
    void restart() noexcept {
        firings_ = 0;
        in_block_ = 0;
    }

    [[nodiscard]] std::int64_t blocks() const noexcept { return blocks_; }
    /// NaN with fewer than two blocks, or where no firing or every firing was lost.
    [[nodiscard]] double ratio() const noexcept {
        if (blocks_ < 2) return kUnknown;
        const auto n = static_cast<double>(blocks_);
        const double mean = sum_ / n;
        const double p = mean / length_;
        if (!(p > 0.0 && p < 1.0)) return kUnknown;
        return (square_ - n * mean * mean) / (n - 1.0) / (length_ * p * (1.0 - p));
    }

  private:
    int length_ = 50;
    int firings_ = 0;
    int in_block_ = 0;
    std::int64_t blocks_ = 0;
    double sum_ = 0.0;
    double square_ = 0.0;
};

}  // namespace kurbel
