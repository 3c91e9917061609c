#include "kurbel/study/block_test.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <random>

#include "kurbel/study/coincidence.hpp"

namespace kurbel {

namespace {

std::size_t cells_of(const std::vector<int>& cell) {
    const auto most = std::max_element(cell.begin(), cell.end());
    return most == cell.end() || *most < 0 ? 0 : static_cast<std::size_t>(*most) + 1;
}

/// Both cells as one number; -1 where either is unknown.
std::vector<int> joint(const std::vector<int>& cell, const std::vector<int>& within, std::size_t cells) {
    std::vector<int> both(cell);
    for (std::size_t i = 0; i < both.size() && !within.empty(); ++i)
        both[i] = cell[i] < 0 || within[i] < 0 ? -1 : within[i] * static_cast<int>(cells) + cell[i];
    return both;
}

/// Pearson's chi-square of ones against cells, stratum by stratum.
double chi_square(const std::vector<double>& ones, const std::vector<double>& sizes, std::size_t cells) {
    double sum = 0.0;
    for (std::size_t from = 0; from < sizes.size(); from += cells) {
        double x = 0.0;
        double n = 0.0;
        for (std::size_t i = from; i < from + cells; ++i) {
            x += ones[i];
            n += sizes[i];
        }
        if (!(x > 0.0 && x < n)) continue;
        const double rate = x / n;
        for (std::size_t i = from; i < from + cells; ++i) {
            if (!(sizes[i] > 0.0)) continue;
            const double off = ones[i] - sizes[i] * rate;
            sum += off * off / (sizes[i] * rate * (1.0 - rate));
        }
    }
    return sum;
}

}  // namespace

BlockTest::BlockTest(const std::vector<bool>& one, const std::vector<std::int32_t>& stretch)
    : size_(one.size()), one_(one), stretch_(stretch) {
    for (std::size_t i = 0; i < one.size(); ++i)
        if (one[i]) ones_.push_back(i);
}

std::size_t BlockTest::block_length(const std::vector<int>& cell) const {
    std::vector<double> sizes(cells_of(cell) + 1, 0.0);  // the last for outcomes without a cell
    std::vector<double> ones(sizes.size(), 0.0);
    const auto place = [&](std::size_t i) {
        return cell[i] < 0 ? sizes.size() - 1 : static_cast<std::size_t>(cell[i]);
    };
    for (std::size_t i = 0; i < size_; ++i) {
        sizes[place(i)] += 1.0;
        ones[place(i)] += one_[i] ? 1.0 : 0.0;
    }
    std::vector<Outcome01> row(size_);
    for (std::size_t i = 0; i < size_; ++i) row[i] = {one_[i], stretch_[i], ones[place(i)] / sizes[place(i)]};
    const double noise = 2.0 / std::sqrt(static_cast<double>(size_));
    int memory = 0;
    while (static_cast<std::size_t>(memory + 1) < size_ / 4 && coincidences(row, memory + 1).correlation > noise)
        ++memory;
    constexpr std::size_t kMemories = 5;
    return std::max(kMemories * static_cast<std::size_t>(memory), (size_ + kUsualBlocks - 1) / kUsualBlocks);
}

template <class Statistic>
double BlockTest::chance(std::size_t block, Statistic&& statistic) const {
    const std::size_t blocks = size_ / block;
    if (blocks < kFewestBlocks) return kUnknown;
    std::vector<std::size_t> begin(blocks + 1);
    for (std::size_t b = 0; b <= blocks; ++b) begin[b] = b * size_ / blocks;
    std::vector<std::vector<std::size_t>> inside(blocks);  // places of misfires from their block's begin
    std::size_t at = 0;
    for (const std::size_t place : ones_) {
        while (place >= begin[at + 1]) ++at;
        inside[at].push_back(place - begin[at]);
    }
    const double seen = statistic(ones_);
    if (!(seen > 0.0)) return 1.0;
    std::mt19937_64 random(20041031);  // any number will do
    std::vector<std::size_t> order(blocks);
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::vector<std::size_t> dealt(ones_.size());
    constexpr double kSame = 1.0 - 1e-9;  // equal up to rounding counts as equal
    int as_much = 0;
    for (int deal = 1; deal <= kMostDeals; ++deal) {
        // By hand: the standard library's shuffle differs between its makers.
        for (std::size_t i = blocks; i > 1; --i) std::swap(order[i - 1], order[random() % i]);
        std::size_t from = 0;
        auto to = dealt.begin();
        for (const std::size_t b : order) {
            for (const std::size_t place : inside[b]) *to++ = from + place;
            from += begin[b + 1] - begin[b];
        }
        if (statistic(dealt) >= kSame * seen && ++as_much == kEnough)
            return static_cast<double>(as_much) / static_cast<double>(deal);
    }
    return static_cast<double>(as_much + 1) / static_cast<double>(kMostDeals + 1);
}

double BlockTest::by_cell(const std::vector<int>& cell, const std::vector<int>& within) const {
    const std::size_t cells = cells_of(cell);
    const std::size_t strata = within.empty() ? 1 : cells_of(within);
    if (cells < 2 || ones_.empty() || ones_.size() == size_) return kUnknown;
    const std::vector<int> place = joint(cell, within, cells);
    std::vector<double> sizes(cells * strata, 0.0);
    for (const int at : place)
        if (at >= 0) sizes[static_cast<std::size_t>(at)] += 1.0;
    std::vector<double> ones(sizes.size());
    return chance(block_length(place), [&](const std::vector<std::size_t>& misfires) {
        std::fill(ones.begin(), ones.end(), 0.0);
        for (const std::size_t at : misfires)
            if (place[at] >= 0) ones[static_cast<std::size_t>(place[at])] += 1.0;
        return chi_square(ones, sizes, cells);
    });
}

double BlockTest::by_trend(const std::vector<double>& value, const std::vector<int>& cell,
                           const std::vector<int>& within) const {
    const std::size_t strata = within.empty() ? 1 : cells_of(within);
    std::vector<int> stratum(size_);
    std::vector<double> mean(strata, 0.0);
    std::vector<double> count(strata, 0.0);
    std::vector<double> square(strata, 0.0);
    for (std::size_t i = 0; i < size_; ++i) {
        stratum[i] = std::isnan(value[i]) ? -1 : within.empty() ? 0 : within[i];
        if (stratum[i] < 0) continue;
        mean[static_cast<std::size_t>(stratum[i])] += value[i];
        count[static_cast<std::size_t>(stratum[i])] += 1.0;
    }
    for (std::size_t s = 0; s < strata; ++s) mean[s] = count[s] > 0.0 ? mean[s] / count[s] : 0.0;
    std::vector<double> lean(size_, 0.0);
    for (std::size_t i = 0; i < size_; ++i) {
        if (stratum[i] < 0) continue;
        const auto s = static_cast<std::size_t>(stratum[i]);
        lean[i] = value[i] - mean[s];
        square[s] += lean[i] * lean[i];
    }
    if (ones_.empty() || ones_.size() == size_ || std::accumulate(square.begin(), square.end(), 0.0) <= 0.0)
        return kUnknown;
    std::vector<double> ones(strata);
    return chance(block_length(joint(cell, within, cells_of(cell))), [&](const std::vector<std::size_t>& misfires) {
        std::fill(ones.begin(), ones.end(), 0.0);
        double sum = 0.0;
        for (const std::size_t at : misfires) {
            if (stratum[at] < 0) continue;
            sum += lean[at];
            ones[static_cast<std::size_t>(stratum[at])] += 1.0;
        }
        double variance = 0.0;
        for (std::size_t s = 0; s < strata; ++s)
            if (count[s] > 0.0) variance += ones[s] / count[s] * (1.0 - ones[s] / count[s]) * square[s];
        return variance > 0.0 ? std::fabs(sum) / std::sqrt(variance) : 0.0;
    });
}

}  // namespace kurbel
