// After how many crank edges the second line comes back.
#include <gtest/gtest.h>

#include <cstdint>
#include <vector>

#include "discover/second_line.hpp"

namespace kurbel::discover {
namespace {

constexpr double kEdge_s = 1e-3;

std::vector<double> edges(int count) {
    std::vector<double> edge_s;
    for (int i = 0; i < count; ++i) edge_s.push_back(kEdge_s * i);
    return edge_s;
}

/// Once every `lap` edges for each of `after`, which are edges; moved by up to `waver_s` either way (invented, and the same each time).
std::vector<double> marks(int laps, int lap, const std::vector<double>& after, double waver_s) {
    std::vector<double> mark_s;
    std::uint32_t state = 1;
    for (int i = 0; i < laps; ++i)
        for (const double edge : after) {
            state = state * 1664525u + 1013904223u;  // a linear congruence, from memory
            const double waver = waver_s * (2.0 * (state >> 8) / double{1 << 24} - 1.0);
            mark_s.push_back(kEdge_s * (lap * i + edge) + waver);
        }
    return mark_s;
}

TEST(MarkLap, OneMarkThatWaversBesideAnEdgeComesBackAfterOneCycle) {
    // A 12-1 wheel with one cam edge a cycle: now on this side of a tooth, now on that.
    const MarkLap lap = mark_lap(edges(22 * 200), marks(199, 22, {7.0}, 0.2 * kEdge_s));
    EXPECT_LT(lap.share, 0.8);
    EXPECT_EQ(lap.marks, 1);
    EXPECT_EQ(lap.edges, 22);
}

TEST(MarkLap, MarksAtPlacesOfTheirOwnAreCountedTogether) {
    // Nearly even: 22, 23 and 21 edges apart.
    const MarkLap lap = mark_lap(edges(66 * 100), marks(99, 66, {3.5, 25.5, 48.5}, 0.2 * kEdge_s));
    EXPECT_EQ(lap.marks, 3);
    EXPECT_EQ(lap.edges, 66);
}

TEST(MarkLap, SteadyMarksComeBackAtOnce) {
    const MarkLap lap = mark_lap(edges(22 * 100), marks(99, 22, {7.5}, 0.2 * kEdge_s));
    EXPECT_EQ(lap.marks, 1);
    EXPECT_EQ(lap.edges, 22);
    EXPECT_DOUBLE_EQ(lap.share, 1.0);
}

}  // namespace
}  // namespace kurbel::discover
