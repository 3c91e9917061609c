#include "study/tooth_error.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace kurbel {

namespace {

/// Binomial weights of the fourth difference. Taken of intervals it is the fifth difference of the teeth: weights 1, 5, 10, 10, 5, 1.
constexpr std::array<double, 5> kFourth{1.0, -4.0, 6.0, -4.0, 1.0};
constexpr double kGain = 252.0;  ///< squares of the weights of the fifth difference, summed
constexpr std::size_t kFewest = 8;
/// Median of the absolute value of normal deviates, over their standard deviation.
constexpr double kMedianOfNormal = 0.6745;

/// Excess of each interval of the mean revolution over the mean energy, share.
std::vector<double> mean_revolution(const CycleProfiles& profiles, std::size_t teeth) {
    std::vector<double> excess(teeth, 0.0);
    double count = 0.0;
    for (const CycleProfile& cycle : profiles.cycles)
        for (std::size_t begin = 0; begin + teeth <= cycle.interval.size(); begin += teeth, count += 1.0)
            for (std::size_t i = 0; i < teeth; ++i) excess[i] += cycle.interval[begin + i] / cycle.energy - 1.0;
    for (double& one : excess) one /= std::max(count, 1.0);
    return excess;
}

}  // namespace

double tooth_error_deg(const Config& config, const CycleProfiles& profiles) {
    const auto teeth = static_cast<std::size_t>(config.crank_wheel.teeth);
    if (teeth < kFewest || profiles.width_deg.size() < teeth) return kUnknown;
    std::vector<double> sorted(profiles.width_deg.begin(),
                               profiles.width_deg.begin() + static_cast<std::ptrdiff_t>(teeth));
    std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(teeth / 2), sorted.end());
    const double width = sorted[teeth / 2];
    const std::vector<double> excess = mean_revolution(profiles, teeth);
    std::vector<double> seen;
    for (std::size_t i = 0; i < teeth; ++i) {
        double difference = 0.0;
        bool even = true;
        for (std::size_t n = 0; n < kFourth.size(); ++n) {
            const std::size_t at = (i + n) % teeth;
            even = even && std::fabs(profiles.width_deg[at] - width) < 0.1 * width;
            difference += kFourth[n] * excess[at];
        }
        if (even) seen.push_back(std::fabs(difference));
    }
    if (seen.size() < kFewest) return kUnknown;
    const auto middle = seen.begin() + static_cast<std::ptrdiff_t>(seen.size() / 2);
    std::nth_element(seen.begin(), middle, seen.end());
    // Energy goes with the square of an interval's width.
    return 0.5 * width * *middle / (kMedianOfNormal * std::sqrt(kGain));
}

}  // namespace kurbel
