// Does the rate of misfires depend on a condition? A test that bursts cannot fool.
#pragma once

#include <cstdint>
#include <vector>

#include "kurbel/core/types.hpp"

namespace kurbel {

/// A row of outcomes that is cut into blocks; the blocks are dealt out anew, again and again, while the conditions stay where they
/// are. The chance of a statistic is the share of such rows that give as much.
///
/// Dealing keeps what follows from what inside a block, so a burst counts as one event and not as so many misfires, and breaks what
/// ties misfires to conditions. Blocks are five times as long as misfires remember one another (to where their correlation
/// sinks into its noise, rates by cell taken out), and long enough that kUsualBlocks make the row, against slow drifts too weak to
/// be seen; a row that would fall into fewer than kFewestBlocks has no answer. (Permutation of blocks: Kuensch, Ann. Stat.
/// 17:1217-1241, 1989 for the blocks; stopping at kEnough: Besag & Clifford, Biometrika 78:301-304, 1991; both from memory.)
/// Numbers are drawn from a fixed seed: the same row gives the same answer.
class BlockTest {
  public:
    static constexpr int kMostDeals = 4999;  ///< the smallest chance is 1 over this + 1
    static constexpr int kEnough = 50;       ///< as-large statistics after which dealing stops
    static constexpr std::size_t kUsualBlocks = 40;
    static constexpr std::size_t kFewestBlocks = 8;

    /// `one[i]` tells whether outcome i is a misfire, `stretch[i]` numbers the unbroken stretch that it lies in.
    BlockTest(const std::vector<bool>& one, const std::vector<std::int32_t>& stretch);

    /// Chance that rates differ by cell as much as they do, if the cell had no say. `cell[i]` from 0; a negative one leaves the
    /// outcome out. `within` (may be empty): other cells to hold fixed; only differences inside each of them count. Statistic:
    /// Pearson's chi-square of misfires against cells, summed over `within`. NaN where there is nothing to compare (one cell, no
    /// misfire, nothing but misfires), or too few blocks.
    [[nodiscard]] double by_cell(const std::vector<int>& cell, const std::vector<int>& within = {}) const;

    /// Chance that misfires lean to one end of `value` as much as they do (rates that rise or fall with it); NaN values leave the
    /// outcome out. `cell` serves for the blocks' length alone. Statistic: covariance of misfire and value inside each cell of
    /// `within`, over its standard error, of either sign (Cochran, Biometrics 10:417-451, 1954; Armitage 11:375-386, 1955).
    [[nodiscard]] double by_trend(const std::vector<double>& value, const std::vector<int>& cell,
                                  const std::vector<int>& within = {}) const;

    /// Outcomes in a block, where rates are those of `cell`.
    [[nodiscard]] std::size_t block_length(const std::vector<int>& cell) const;

  private:
    template <class Statistic>
    [[nodiscard]] double chance(std::size_t block, Statistic&& statistic) const;

    std::size_t size_ = 0;
    std::vector<bool> one_;
    std::vector<std::int32_t> stretch_;
    std::vector<std::size_t> ones_;  // places of the misfires
};

}  // namespace kurbel
