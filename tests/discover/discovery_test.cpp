// Every wheel of the trade from synthetic edges, whose angles are exact: no simulator stands between.
#include "kurbel/discover/discovery.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "kurbel/discover/tell.hpp"
#include "kurbel/simulate/random.hpp"

namespace kurbel::discover {
namespace {

struct Edges {
    std::vector<std::int64_t> tick;
    std::vector<std::uint8_t> signal;
    [[nodiscard]] EdgeLines lines() const { return {tick.data(), signal.data(), tick.size(), {1e9, 0}, {}}; }
};

/// A crank whose speed swings at orders 2 and a half, and slowly over the recording; teeth at `deg`, `off_deg` off each (a
/// fortieth of the finest pitch at most, unless that is told), cam edges at `cam_deg` of 720.
Edges turning(const std::vector<double>& deg, const std::vector<double>& cam_deg, int cycles = 90, double off_deg = 0.0,
              std::uint64_t seed = 11) {
    simulate::Random random(seed, deg.size());
    double finest = 360.0;
    for (std::size_t i = 1; i < deg.size(); ++i) finest = std::min(finest, deg[i] - deg[i - 1]);
    std::vector<double> place;
    if (!(off_deg > 0.0)) off_deg = std::min(0.08, finest / 40.0);
    for (const double each : deg) place.push_back(each + off_deg * random.normal());
    const auto time_s = [](double angle_deg) {
        const double rad = angle_deg * std::numbers::pi / 180.0;
        const double even = rad - 0.01 * std::sin(2.0 * rad) - 0.006 * std::sin(0.5 * rad + 1.0);
        return (even + 8.0 * std::sin(even / 80.0)) / 105.0;  // about 1000 1/min, 10 % up and down
    };
    std::vector<std::pair<double, std::uint8_t>> all;
    for (int turn = 0; turn < 2 * cycles; ++turn)
        for (const double each : place)
            all.emplace_back(time_s(360.0 * turn + each + 0.002 * random.normal()), std::uint8_t{0});
    for (int cycle = 0; cycle < cycles; ++cycle)
        for (const double each : cam_deg) all.emplace_back(time_s(720.0 * cycle + each), std::uint8_t{1});
    std::sort(all.begin(), all.end());
    Edges edges;
    for (const auto& [time, signal] : all) {
        edges.tick.push_back(std::llround(1e9 * time));
        edges.signal.push_back(signal);
    }
    return edges;
}

std::vector<double> even(int places, const std::vector<int>& absent = {}) {
    std::vector<double> deg;
    for (int place = 0; place < places; ++place)
        if (std::find(absent.begin(), absent.end(), place) == absent.end()) deg.push_back(360.0 * place / places);
    return deg;
}

struct Wheel {
    std::string name;
    int positions;
    std::vector<int> absent;
};

class EveryGap : public ::testing::TestWithParam<Wheel> {};

// The list of wheels is common practice, no source.
TEST_P(EveryGap, IsFoundPlaceByPlace) {
    const Wheel& wheel = GetParam();
    const Edges edges = turning(even(wheel.positions, wheel.absent), {});
    const Discovery found = discover(edges.lines());
    EXPECT_NE(found.wheel.sureness, Sureness::not_sure) << found.wheel.why << " " << found.wheel.raise;
    EXPECT_EQ(found.wheel.positions, wheel.positions);
    EXPECT_EQ(found.wheel.name(), wheel.name);
    EXPECT_EQ(found.wheel.teeth, wheel.positions - static_cast<int>(wheel.absent.size()));
    ASSERT_FALSE(found.wheel.absent.empty());
    EXPECT_EQ(found.wheel.absent.back(), wheel.positions - 1);  // place 0 follows the widest gap
    EXPECT_NEAR(found.lowest_rpm, 909.0, 25.0);
}

INSTANTIATE_TEST_SUITE_P(Wheels, EveryGap,
                         ::testing::Values(Wheel{"60-2", 60, {58, 59}}, Wheel{"36-1", 36, {35}},
                                           Wheel{"36-2", 36, {34, 35}}, Wheel{"36-2-2-2", 36, {12, 13, 30, 31, 34, 35}},
                                           Wheel{"36-2-1", 36, {17, 34, 35}}, Wheel{"30-1", 30, {29}},
                                           Wheel{"30-2", 30, {28, 29}}, Wheel{"24-1", 24, {23}},
                                           Wheel{"24-2", 24, {22, 23}}, Wheel{"18-1", 18, {17}},
                                           Wheel{"12-1", 12, {11}}, Wheel{"12-2", 12, {10, 11}},
                                           Wheel{"12-3", 12, {9, 10, 11}}, Wheel{"8-1", 8, {7}}, Wheel{"4-1", 4, {3}},
                                           Wheel{"120-2", 120, {118, 119}}, Wheel{"120-2-2", 120, {58, 59, 118, 119}}),
                         [](const ::testing::TestParamInfo<Wheel>& wheel) {
                             std::string name = wheel.param.name;
                             std::replace(name.begin(), name.end(), '-', '_');
                             return name;
                         });

TEST(Gap, IsBelievedAsFarOffAsTheTeethAre) {
    // Teeth that stand off by a thirtieth of a pitch move a gap, and the pitch beside it, by a fifth of one now and then.
    for (std::uint64_t seed = 61; seed <= 72; ++seed) {
        const Discovery found = discover(turning(even(60, {58, 59}), {}, 20, 0.2, seed).lines());
        EXPECT_EQ(found.wheel.name(), "60-2") << seed;
        EXPECT_NE(found.wheel.sureness, Sureness::not_sure) << seed << ": " << found.wheel.raise;
    }
}

TEST(UnevenWheel, IsMeasured) {
    for (const std::vector<double>& vanes :
         {std::vector<double>{0, 150}, {0, 105, 240}, {0, 80, 180, 270}, {0, 45, 120, 180, 240, 300}}) {
        const Edges edges = turning(vanes, {100.0});
        const Discovery found = discover(edges.lines());
        EXPECT_NE(found.wheel.sureness, Sureness::not_sure) << found.wheel.raise;
        EXPECT_EQ(found.wheel.teeth, static_cast<int>(vanes.size()));
        EXPECT_EQ(found.wheel.positions, 0);
        ASSERT_FALSE(found.wheel.angle_deg.empty());
        // The widest stretch comes last, and is as wide as it is.
        double widest = 360.0 - vanes.back();
        for (std::size_t i = 1; i < vanes.size(); ++i) widest = std::max(widest, vanes[i] - vanes[i - 1]);
        EXPECT_NEAR(360.0 - found.wheel.angle_deg.back(), widest, 2.0);
    }
}

TEST(UnevenWheel, IsNotTurnedByAnEdgeMoreOrFewer) {
    // No interval of these vanes is foreign to another: once shifted, laps had followed each other shifted to the end.
    const std::vector<double> deg{0.0, 104.8, 249.9};
    const Edges whole = turning(deg, {}, 400);
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        simulate::Random random(seed, 3);
        Edges edges;
        for (std::size_t i = 0; i < whole.tick.size(); ++i) {
            const double draw = random.uniform();
            if (draw < 4e-4) continue;
            edges.tick.push_back(whole.tick[i]);
            if (draw > 1.0 - 4e-4 && i + 1 < whole.tick.size())
                edges.tick.push_back(
                    whole.tick[i] +
                    std::llround(random.uniform() * static_cast<double>(whole.tick[i + 1] - whole.tick[i])));
        }
        edges.signal.assign(edges.tick.size(), 0);
        const Discovery found = discover(edges.lines());
        ASSERT_EQ(found.wheel.teeth, 3) << seed;
        EXPECT_NEAR(found.wheel.angle_deg[1], 360.0 - 249.9, 1.5) << seed;
        EXPECT_NEAR(found.wheel.angle_deg[2], 360.0 - 249.9 + 104.8, 1.5) << seed;
    }
}

TEST(UnevenWheel, IsNotTakenForTheGapThatItResembles) {
    // A quarter, a quarter and a half, to within three degrees: the same at every speed, which an engine's swing would not be.
    const Discovery found = discover(turning({0.0, 92.2, 269.0}, {}).lines());
    EXPECT_NE(found.wheel.name(), "4-1");
    EXPECT_EQ(found.wheel.positions, 0);
    EXPECT_EQ(discover(turning(even(4, {3}), {}).lines()).wheel.name(), "4-1");
}

TEST(UnevenWheel, IsToldFromItsHalf) {
    // Opposite vanes that stand nearly alike: how they differ stays the same at every speed, and is more than this engine swings by.
    for (const std::vector<double>& vanes :
         {std::vector<double>{0, 131, 188, 304}, {0, 70, 125, 196, 250, 312}, {0, 95.5, 188.2}}) {
        const Discovery found = discover(turning(vanes, {}).lines());
        EXPECT_EQ(found.wheel.teeth, static_cast<int>(vanes.size()));
        EXPECT_EQ(found.wheel.positions, 0);
        EXPECT_NE(found.wheel.sureness, Sureness::not_sure) << found.wheel.raise;
    }
}

TEST(UnevenWheel, IsNotTakenForWhatItIsAlikeByChance) {
    // 24 slots of a width code that are alike after 11 edges, too, by chance: once counted by those.
    const Edges edges = turning({0,   20,  30,  50,  60,  80,  90,  105, 125, 135, 155, 165,
                                 185, 195, 215, 225, 245, 255, 275, 290, 305, 320, 330, 350},
                                {});
    const Discovery found = discover(edges.lines());
    EXPECT_EQ(found.wheel.teeth, 24);
}

TEST(SecondLine, IsNotSureOfEdgesThatAreThereInHalfOfTheCycles) {
    Edges edges = turning(even(36, {35}), {50.0, 410.0});
    // From the middle on the second of the two marks is gone.
    std::size_t marks = 0;
    Edges kept;
    for (std::size_t i = 0; i < edges.tick.size(); ++i) {
        if (edges.signal[i] == 1 && marks++ > 90 && marks % 2 == 0) continue;
        kept.tick.push_back(edges.tick[i]);
        kept.signal.push_back(edges.signal[i]);
    }
    const Discovery found = discover(kept.lines());
    EXPECT_EQ(found.cam.sureness, Sureness::not_sure);
    EXPECT_FALSE(found.cam.raise.empty());
    EXPECT_EQ(found.next_step, found.cam.raise);
}

TEST(PlainRing, TakesNoSwingForAnotherPlaceOfItsReference) {
    // A swing at order one half, which the revolutions of a cycle do not share, and a mark between two of the teeth.
    for (const double mark : {3.0, 7.5, 12.0, 14.9}) {
        const Discovery found = discover(turning(even(24), {mark, mark + 360.0}).lines());
        EXPECT_TRUE(found.cam.tells_turn) << mark;
        EXPECT_FALSE(found.cam.tells_cycle) << mark;
    }
}

TEST(PlainRing, IsCountedByItsSecondLine) {
    for (const int teeth : {110, 135, 160, 360}) {
        const Edges with_cam = turning(even(teeth), {200.3});
        const Discovery cam = discover(with_cam.lines());
        EXPECT_EQ(cam.wheel.teeth, teeth);
        EXPECT_NE(cam.wheel.sureness, Sureness::not_sure);
        EXPECT_TRUE(cam.cam.tells_cycle);
        const Edges with_reference = turning(even(teeth), {200.3, 560.3});
        const Discovery reference = discover(with_reference.lines());
        EXPECT_EQ(reference.wheel.teeth, teeth);
        EXPECT_NE(reference.wheel.sureness, Sureness::not_sure);
        EXPECT_TRUE(reference.cam.tells_turn);
    }
}

TEST(SecondLine, IsPlacedOnTheWheel) {
    const Edges edges = turning(even(60, {58, 59}), {50.0, 250.0, 600.0});
    const Discovery found = discover(edges.lines());
    ASSERT_EQ(found.cam.edge_deg.size(), 3U);
    EXPECT_TRUE(found.cam.tells_cycle);
    // Either revolution may be called the first.
    for (const double deg : {50.0, 250.0, 600.0}) {
        double nearest = 360.0;
        for (const double seen : found.cam.edge_deg)
            nearest = std::min(nearest, std::abs(std::remainder(seen - deg, 360.0)));
        EXPECT_LT(nearest, 1.0) << deg;
    }
}

TEST(Discover, IsNotSureWhereNothingRepeats) {
    simulate::Random random(5, 1);
    Edges noise;
    std::int64_t tick = 0;
    for (int i = 0; i < 6000; ++i) {
        tick += 200000 + static_cast<std::int64_t>(2e6 * random.uniform());
        noise.tick.push_back(tick);
        noise.signal.push_back(0);
    }
    const Discovery found = discover(noise.lines());
    EXPECT_EQ(found.wheel.sureness, Sureness::not_sure);
    EXPECT_FALSE(found.wheel.raise.empty());
    EXPECT_FALSE(found.next_step.empty());
    // Coarse even teeth with nothing beside them have no place.
    const Edges ring = turning(even(24), {});
    EXPECT_EQ(discover(ring.lines()).wheel.sureness, Sureness::not_sure);
}

TEST(Discover, SurvivesAnything) {
    EXPECT_FALSE(discover({}).wheel.found());
    Edges still = turning(even(36, {35}), {}, 4);
    std::fill(still.tick.begin(), still.tick.end(), 5);
    EXPECT_FALSE(discover(still.lines()).wheel.found());
    Edges backwards = turning(even(36, {35}), {100.0}, 20);
    std::reverse(backwards.tick.begin(), backwards.tick.end());
    EXPECT_EQ(discover(backwards.lines()).wheel.sureness, Sureness::not_sure);
    const Edges few = turning(even(4, {3}), {}, 2);
    EXPECT_EQ(discover(few.lines()).wheel.sureness, Sureness::not_sure);
}

TEST(Contradictions, NameTheWheelThatIsThere) {
    const Edges edges = turning(even(36, {35}), {});
    const Discovery found = discover(edges.lines());
    Config described;
    described.engine.cylinders = 4;
    described.engine.firing_order = {1, 3, 4, 2};
    make_even_firing(described.engine);
    const int gap60[] = {58, 59};
    ASSERT_TRUE(make_even_wheel(60, gap60, 2, described.crank_wheel));
    ASSERT_EQ(contradictions(found, described).size(), 1U);
    EXPECT_EQ(contradictions(found, described)[0], "The description says 60-2, the edges say 36-1.");
    // The same wheel counted from another tooth is the same wheel.
    const int gap36[] = {20};
    ASSERT_TRUE(make_even_wheel(36, gap36, 1, described.crank_wheel));
    for (const std::string& each : contradictions(found, described))
        EXPECT_EQ(each.find("The description says 36"), std::string::npos) << each;
}

}  // namespace
}  // namespace kurbel::discover
