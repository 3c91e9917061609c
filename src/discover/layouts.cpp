#include "discover/layouts.hpp"

#include <algorithm>

namespace kurbel::discover {

namespace {

/// Firings after the given intervals, over and over until the cycle is full.
Layout spaced(const char* name, const std::vector<double>& intervals) {
    Layout layout{name, {}, 0.0};
    for (const double interval : intervals) layout.period_deg += interval;
    for (double begin = 0.0; begin < 719.0; begin += layout.period_deg) {
        double at = begin;
        for (const double interval : intervals) {
            layout.firing_tdc_deg.push_back(at);
            at += interval;
        }
    }
    return layout;
}

std::vector<Layout> all_layouts() {
    std::vector<Layout> all;
    for (const int cylinders : {1, 2, 3, 4, 5, 6, 8, 10, 12, 16})
        all.push_back(spaced("even firing", {720.0 / cylinders}));
    all.push_back(spaced("twin firing 180-540", {180.0, 540.0}));
    all.push_back(spaced("twin firing 270-450", {270.0, 450.0}));
    all.push_back(spaced("twin firing 300-420", {300.0, 420.0}));
    all.push_back(spaced("twin firing 315-405", {315.0, 405.0}));
    all.push_back(spaced("four firing 180-270-180-90", {270.0, 180.0, 90.0, 180.0}));
    all.push_back(spaced("V4 firing 90-270", {90.0, 270.0}));
    all.push_back(spaced("V6 firing 90-150", {90.0, 150.0}));
    all.push_back(spaced("V6 firing 108-132", {108.0, 132.0}));
    all.push_back(spaced("V10 firing 54-90", {54.0, 90.0}));
    return all;
}

}  // namespace

bool Layout::nearly_even() const {
    double nearest = period_deg;
    double farthest = 0.0;
    for (std::size_t i = 0; i + 1 < firing_tdc_deg.size(); ++i) {
        const double interval = firing_tdc_deg[i + 1] - firing_tdc_deg[i];
        nearest = std::min(nearest, interval);
        farthest = std::max(farthest, interval);
    }
    constexpr double kNearly = 1.3;
    return !even() && farthest < kNearly * nearest;
}

bool shows_firings(const Layout& layout, int waves) { return 720.0 / layout.period_deg + 1.0 <= waves; }

const std::vector<Layout>& layouts() {
    static const std::vector<Layout> all = all_layouts();
    return all;
}

}  // namespace kurbel::discover
