#include "study/swap_seen.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

namespace kurbel::swap {

double log_sum(double a, double b) noexcept {
    if (a < b) std::swap(a, b);
    return std::isinf(b) ? a : a + std::log1p(std::exp(b - a));
}

double FalseCalls::rate(const Seen& seen) const noexcept { return std::min(floor + misread * seen.elsewhere, 0.5); }

double FalseCalls::log_likelihood(const Seen& seen) const noexcept {
    const auto lost = static_cast<double>(seen.filter.misfires());
    const auto burnt = static_cast<double>(seen.filter.firings()) - lost;
    return lost * std::log(rate(seen)) + burnt * std::log1p(-rate(seen));
}

const std::vector<FalseCalls>& false_calls() {
    // The floor reaches from the detector's own setting to 0.15 %, about what keeps a 1000-revolution block clean (0.2 %). Through the
    // simulator and the whole detector it was 0.02 % of the firings, and 0.07 % of a neighbour's misfires (bench/README.md, swap-edges).
    constexpr std::array<double, 4> kFloor{2e-5, 1e-4, 4e-4, 1.5e-3};
    constexpr std::array<double, 4> kFloorPrior{0.35, 0.35, 0.25, 0.05};
    constexpr std::array<double, 3> kMisread{0.0, 0.003, 0.03};
    constexpr std::array<double, 3> kMisreadPrior{0.65, 0.3, 0.05};
    static const std::vector<FalseCalls> kAll = [&] {
        std::vector<FalseCalls> all;
        for (std::size_t f = 0; f < kFloor.size(); ++f)
            for (std::size_t m = 0; m < kMisread.size(); ++m)
                all.push_back({kFloor[f], kMisread[m], kFloorPrior[f] * kMisreadPrior[m]});
        return all;
    }();
    return kAll;
}

double healthy_log_likelihood(const Seen& seen) noexcept {
    double total = -std::numeric_limits<double>::infinity();
    for (const FalseCalls& calls : false_calls())
        total = log_sum(total, std::log(calls.prior) + calls.log_likelihood(seen));
    return total;
}

void set_elsewhere(std::vector<Seen>& seen) noexcept {
    const auto rate = [](const Seen& s) {
        return s.filter.firings() > 0
                   ? static_cast<double>(s.filter.misfires()) / static_cast<double>(s.filter.firings())
                   : 0.0;
    };
    double sum = 0.0;
    for (const Seen& s : seen) sum += rate(s);
    for (Seen& s : seen) s.elsewhere = sum - rate(s);
}

std::vector<Seen> see(const std::vector<Row>& rows, FiringRecord Row::*record) {
    std::vector<Seen> seen(rows.size());
    for (std::size_t r = 0; r < rows.size(); ++r) seen[r].filter.take(rows[r].*record);
    set_elsewhere(seen);
    return seen;
}

}  // namespace kurbel::swap
