#include "study/swap_pace.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace kurbel::swap {

namespace {

using Side = std::vector<JudgedRecording>;

double cycles_per_second(const Side& after, const Kept& kept) {
    double cycles = 0.0;
    double seconds = 0.0;
    for (std::size_t r = 0; r < after.size(); ++r) {
        const auto& events = after[r].events;
        std::size_t first = 0;
        while (first < events.size() && events[first].verdict == Verdict::unjudged) ++first;
        if (first >= events.size()) continue;
        seconds += events.back().time_s - events[first].time_s;
        cycles +=
            static_cast<double>(std::count(kept[r].begin(), kept[r].end(), true)) / after[r].config.engine.cylinders;
    }
    return seconds > 0.0 ? cycles / seconds : 0.0;
}

/// Mean speeds of stretches of 2 s, over their side's mean.
void add_stretches(const Side& side, const Kept& kept, std::vector<double>& ratios) {
    constexpr double kStretch_s = 2.0;
    const std::size_t first = ratios.size();
    double all = 0.0;
    for (std::size_t r = 0; r < side.size(); ++r) {
        double began_s = -std::numeric_limits<double>::infinity();
        double sum = 0.0;
        int count = 0;
        for (std::size_t i = 0; i < side[r].events.size(); ++i) {
            const Event& event = side[r].events[i];
            if (!kept[r][i]) continue;
            if (event.time_s - began_s >= kStretch_s) {
                if (count > 0) ratios.push_back(sum / count);
                began_s = event.time_s;
                sum = 0.0;
                count = 0;
            }
            sum += event.speed_rpm;
            ++count;
        }
    }
    for (std::size_t i = first; i < ratios.size(); ++i) all += ratios[i];
    const double mean = all / static_cast<double>(std::max<std::size_t>(ratios.size() - first, 1));
    for (std::size_t i = first; i < ratios.size(); ++i) ratios[i] /= mean;
}

}  // namespace

Pace pace_of(const Side& before, const Side& after, const CommonFirings& common) {
    std::vector<double> ratios;
    add_stretches(before, common.before, ratios);
    add_stretches(after, common.after, ratios);
    // A short recording has not shown how its speed wanders: 3 % (common practice at idle, no source) count as three stretches.
    constexpr double kUsual = 0.03;
    constexpr double kUsualCounts = 3.0;
    double square = kUsualCounts * kUsual * kUsual;
    for (const double ratio : ratios) square += (ratio - 1.0) * (ratio - 1.0);
    return {cycles_per_second(after, common.after),
            std::sqrt(square / (kUsualCounts + static_cast<double>(ratios.size())))};
}

}  // namespace kurbel::swap
