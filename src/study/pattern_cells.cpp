// Ranges of a condition, as a person would name them, each with enough firings to have a rate.
#include <algorithm>
#include <cmath>
#include <cstdio>

#include "study/pattern_rows.hpp"

namespace kurbel::study {

namespace {

constexpr std::size_t kFewest = 20;  // firings in a cell: one misfire more or less moves its rate by 5 %

/// What counts as another condition. Speed, load: "similar conditions" of 13 CCR 1968.2 (c), values from memory; coolant: ours.
double similar(Condition condition) noexcept {
    switch (condition) {
        case Condition::speed: return 375.0;
        case Condition::load: return 0.2;
        case Condition::coolant: return 20.0;
        case Condition::time: break;
    }
    return 0.0;
}

/// Inner edges between cells over the range.
std::vector<double> edges(Condition condition, bool since_start, double low, double high) {
    std::vector<double> inner;
    if (condition == Condition::time && since_start) return {30.0, 60.0, 120.0, 300.0, 600.0, 1800.0};
    if (condition == Condition::time) {
        constexpr int kParts = 6;
        for (int i = 1; i < kParts; ++i) inner.push_back(low + (high - low) * i / kParts);
        return inner;
    }
    constexpr double kMostCells = 8.0;
    double step = condition == Condition::speed ? 500.0 : similar(condition);
    while ((high - low) / step > kMostCells) step *= 2.0;
    for (double edge = std::ceil(low / step) * step; edge < high; edge += step)
        if (edge > low) inner.push_back(edge);
    return inner;
}

/// Joins cells that hold too few firings with the smaller of their neighbours.
void join_small(std::vector<double>& bounds, std::vector<std::size_t>& counts) {
    while (counts.size() > 1) {
        const auto small = std::min_element(counts.begin(), counts.end());
        if (*small >= kFewest) return;
        const auto at = static_cast<std::size_t>(small - counts.begin());
        const bool left = at > 0 && (at + 1 == counts.size() || counts[at - 1] <= counts[at + 1]);
        const std::size_t first = left ? at - 1 : at;
        counts[first] += counts[first + 1];
        counts.erase(counts.begin() + static_cast<std::ptrdiff_t>(first) + 1);
        bounds.erase(bounds.begin() + static_cast<std::ptrdiff_t>(first) + 1);
    }
}

}  // namespace

Cells cut(const Outcomes& row, Condition condition, bool since_start) {
    Cells cut;
    ConditionEffect& effect = cut.effect;
    effect.condition = condition;
    const auto value = [&](std::size_t i) { return row.condition[i][static_cast<std::size_t>(condition)]; };
    std::vector<double> sorted;
    for (std::size_t i = 0; i < row.size(); ++i)
        if (!std::isnan(value(i))) sorted.push_back(value(i));
    effect.known = 2 * sorted.size() > row.size();  // a condition that is mostly unknown would sort by being known
    cut.cell.assign(row.size(), -1);
    if (!effect.known) return cut;
    std::sort(sorted.begin(), sorted.end());
    const std::size_t outliers = sorted.size() / 200;
    effect.lowest = sorted[outliers];
    effect.highest = sorted[sorted.size() - 1 - outliers];
    if (effect.highest - effect.lowest <= similar(condition)) return cut;

    std::vector<double> bounds{sorted.front()};
    for (const double edge : edges(condition, since_start, effect.lowest, effect.highest))
        if (edge > bounds.back() && edge < sorted.back()) bounds.push_back(edge);
    bounds.push_back(sorted.back());
    std::vector<std::size_t> counts(bounds.size() - 1, 0);
    const auto place = [&](double at) {
        const auto above = std::upper_bound(bounds.begin() + 1, bounds.end() - 1, at);
        return static_cast<std::size_t>(above - bounds.begin()) - 1;
    };
    for (const double at : sorted) ++counts[place(at)];
    join_small(bounds, counts);
    if (counts.size() < 2) return cut;
    effect.varied = true;
    for (std::size_t i = 0; i + 1 < bounds.size(); ++i)
        effect.cells.push_back({bounds[i], bounds[i + 1], 0, 0, kUnknown, {}});
    for (std::size_t i = 0; i < row.size(); ++i) {
        if (std::isnan(value(i))) continue;
        const std::size_t at = place(value(i));
        cut.cell[i] = static_cast<int>(at);
        ++effect.cells[at].judged;
        effect.cells[at].misfires += row.misfire[i] ? 1 : 0;
    }
    for (ConditionCell& cell : effect.cells)
        cell.rate = static_cast<double>(cell.misfires) / static_cast<double>(cell.judged);
    return cut;
}

}  // namespace kurbel::study
