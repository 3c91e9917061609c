#include "study/swap_ways.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace kurbel::swap {

namespace {

constexpr int kRates = MisfireProcess::kRates;
constexpr int kShapes = MisfireProcess::kShapes;

std::size_t at(int shape, int rate) { return static_cast<std::size_t>(shape * kRates + rate); }

/// How a rate may differ between the recordings, by steps of the rates' grid: mostly a little, sometimes much. Rows sum to 1.
std::vector<double> drift_kernel() {
    constexpr std::array<double, 2> kSpread{0.35, 0.8};  // of the logit; the third part is any rate
    constexpr std::array<double, 3> kShare{0.7, 0.28, 0.02};
    std::vector<double> kernel(static_cast<std::size_t>(kRates * kRates));
    for (int from = 0; from < kRates; ++from) {
        std::array<double, 3> total{};
        std::array<std::array<double, static_cast<std::size_t>(kRates)>, 3> part{};
        for (int to = 0; to < kRates; ++to) {
            const double step = MisfireProcess::kLogitStep * (to - from);
            for (std::size_t i = 0; i < kShare.size(); ++i) {
                const double value =
                    i < kSpread.size() ? std::exp(-0.5 * step * step / (kSpread[i] * kSpread[i])) : 1.0;
                part[i][static_cast<std::size_t>(to)] = value;
                total[i] += value;
            }
        }
        for (int to = 0; to < kRates; ++to)
            for (std::size_t i = 0; i < kShare.size(); ++i)
                kernel[static_cast<std::size_t>(from * kRates + to)] +=
                    kShare[i] * part[i][static_cast<std::size_t>(to)] / total[i];
    }
    return kernel;
}

Ways drifted(const Ways& ways) {
    static const std::vector<double> kDrift = drift_kernel();
    Ways made(ways.size(), 0.0);
    for (int shape = 0; shape < kShapes; ++shape)
        for (int from = 0; from < kRates; ++from)
            for (int to = 0; to < kRates; ++to)
                made[at(shape, to)] += ways[at(shape, from)] * kDrift[static_cast<std::size_t>(from * kRates + to)];
    return made;
}

/// Spells mostly last as long as before; but no model of them is quite true, and a long record must not turn on that.
void keep_shape_open(Ways& ways) {
    constexpr double kOpen = 0.3;
    for (int rate = 0; rate < kRates; ++rate) {
        double sum = 0.0;
        for (int shape = 0; shape < kShapes; ++shape) sum += ways[at(shape, rate)];
        for (int shape = 0; shape < kShapes; ++shape)
            ways[at(shape, rate)] =
                (1.0 - kOpen) * ways[at(shape, rate)] + kOpen * MisfireProcess::shape_prior(shape) * sum;
    }
}

void normalise(Ways& ways) {
    double sum = 0.0;
    for (const double weight : ways) sum += weight;
    for (double& weight : ways) weight /= sum;
}

double largest(const ProcessFilter& filter) {
    double most = filter.log_likelihood(0, 0);
    for (int shape = 0; shape < kShapes; ++shape)
        for (int rate = 0; rate < kRates; ++rate) most = std::max(most, filter.log_likelihood(shape, rate));
    return most;
}

}  // namespace

const Ways& fresh_ways() {
    static const Ways kFresh = [] {
        Ways ways(static_cast<std::size_t>(MisfireProcess::kWays));
        for (int shape = 0; shape < kShapes; ++shape)
            for (int rate = 0; rate < kRates; ++rate)
                ways[at(shape, rate)] = MisfireProcess::shape_prior(shape) * MisfireProcess::shared().rate_prior(rate);
        return ways;
    }();
    return kFresh;
}

Ways weighed(const Ways& ways, const ProcessFilter& record) {
    const double most = largest(record);
    Ways made = ways;
    for (int shape = 0; shape < kShapes; ++shape)
        for (int rate = 0; rate < kRates; ++rate)
            made[at(shape, rate)] *= std::exp(record.log_likelihood(shape, rate) - most);
    return made;
}

double log_likelihood(const Ways& ways, const ProcessFilter& record) {
    double sum = 0.0;
    for (const double weight : weighed(ways, record)) sum += weight;
    return largest(record) + std::log(std::max(sum, 1e-300));
}

Ways carried_ways(const ProcessFilter& seen) {
    Ways ways = weighed(fresh_ways(), seen);
    normalise(ways);
    ways = drifted(ways);
    keep_shape_open(ways);
    normalise(ways);
    return ways;
}

}  // namespace kurbel::swap
