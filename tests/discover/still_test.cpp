// Teeth against the engine's swing: a crank whose energy is known at every degree.
#include "discover/still.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "discover/rounds.hpp"

namespace kurbel::discover {
namespace {

/// Coasts from 3000 to 1200 1/min; the energy swings by `half` at order one half and by `whole` at order 1, rad^2/s^2, three times as much
/// while fuel burns, in the first third. Every `lose`th edge is lost.
std::vector<double> coast(const std::vector<double>& vane_deg, double half, double whole, int turns = 300,
                          std::size_t lose = 0) {
    constexpr double kTop = 314.0;
    constexpr double kLow = 126.0;
    constexpr double kStep_deg = 0.1;
    std::vector<double> edge_s;
    double time_s = 1.0;
    std::size_t seen = 0;
    for (int turn = 0; turn < turns; ++turn) {
        std::size_t next = 0;
        for (int step = 0; step < 3600; ++step) {
            const double deg = kStep_deg * step;
            const double rad = (deg + 360.0 * turn) * std::numbers::pi / 180.0;
            const double along = std::max(0.0, (turn + deg / 360.0) / turns - 1.0 / 3.0) * 1.5;
            const double mean = kTop + (kLow - kTop) * along;
            const double torque = along > 0.0 ? 1.0 : 3.0;
            const double square =
                mean * mean + 2.0 * torque * (half * std::cos(0.5 * rad + 0.4) + whole * std::cos(rad + 1.0));
            const double step_s = kStep_deg * std::numbers::pi / 180.0 / std::sqrt(square);
            while (next < vane_deg.size() && vane_deg[next] < deg + kStep_deg) {
                if (lose == 0 || ++seen % lose != 0)
                    edge_s.push_back(time_s + step_s * (vane_deg[next] - deg) / kStep_deg);
                ++next;
            }
            time_s += step_s;
        }
    }
    return edge_s;
}

RoundsFinding rounds(const std::vector<double>& edge_s, int edges) {
    const Fold fold = fold_by_pattern(edge_s, edges);
    return rounds_of(edge_s, fold, read_pattern(edge_s, fold));
}

TEST(StillPlaces, AreTheTeethAlthoughTorqueChangesWithFuel) {
    const std::vector<double> deg{0.0, 130.0, 230.0};
    const std::vector<double> edge_s = coast(deg, 300.0, 400.0);
    const Fold fold = fold_by_pattern(edge_s, 3);
    const Still still = still_places(edge_s, fold);
    ASSERT_TRUE(still.known);
    const auto first = static_cast<double>(deg[fold.laps[0].first % 3]);
    for (std::size_t i = 0; i < 2; ++i) {
        const double real = deg[(fold.laps[0].first + i + 1) % 3] - first;
        const double seen_off = std::abs(std::remainder(still.seen_deg[i] - real, 360.0));
        EXPECT_GT(seen_off, 0.5);
        EXPECT_LT(std::abs(std::remainder(still.still_deg[i] - real, 360.0)), 0.35 * seen_off);
    }
    EXPECT_LT(still.doubt_deg, 0.2);
}

TEST(StillAlternation, FadesWhereRevolutionsDiffer) {
    // Also where a lost edge leaves open which of the two revolutions comes next.
    for (const std::size_t lose : {std::size_t{0}, std::size_t{149}}) {
        const std::vector<double> edge_s = coast({0.0, 130.0, 230.0}, 300.0, 0.0, 300, lose);
        const Fold fold = fold_by_pattern(edge_s, 3);
        const Still apart = still_alternation(edge_s, fold);
        ASSERT_TRUE(apart.known);
        EXPECT_GT(size_deg(apart.seen_deg), 0.5) << lose;
        EXPECT_LT(size_deg(apart.still_deg), 0.2) << lose;
        EXPECT_GT(alternation_over_chance(edge_s, fold), 12.0);
        EXPECT_LT(alternation_over_chance(edge_s, joined(edge_s, fold, 2, 0)), 6.0);
    }
}

TEST(Rounds, AreWholeWhereTheEngineMakesThemDiffer) {
    const RoundsFinding found = rounds(coast({0.0, 130.0, 230.0}, 300.0, 400.0), 3);
    EXPECT_EQ(found.rounds, Rounds::whole);
    EXPECT_FALSE(found.by_cycle);
}

TEST(Rounds, ArePartsWhereTheyDifferInLengthAlone) {
    // 187.9 and 172.1 degrees, alike in shape; an engine that comes back every revolution.
    const RoundsFinding found = rounds(coast({0.0, 37.3, 107.4, 187.9, 222.1, 286.3}, 0.0, 400.0), 3);
    EXPECT_EQ(found.rounds, Rounds::parts);
    EXPECT_FALSE(found.by_cycle);
    EXPECT_GT(found.too_far_deg, 10.0);
}

TEST(Rounds, ArePartsWhereTheCycleIsLongerThanTwo) {
    // Halves that are nearly alike; an engine whose two revolutions differ.
    const RoundsFinding found = rounds(coast({0.0, 70.0, 180.6, 250.0}, 300.0, 0.0), 2);
    EXPECT_EQ(found.rounds, Rounds::parts);
    EXPECT_TRUE(found.by_cycle);
}

}  // namespace
}  // namespace kurbel::discover
