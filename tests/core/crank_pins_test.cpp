#include "kurbel/core/crank_pins.hpp"

#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "kurbel/core/config.hpp"

namespace {

using kurbel::CrankPins;
using kurbel::EngineConfig;

/// An engine of which nobody tells the pins; without `tdc_deg` its firings are evenly spaced.
EngineConfig engine(const std::vector<int>& order, const std::vector<double>& tdc_deg = {}) {
    EngineConfig engine;
    engine.cylinders = static_cast<int>(order.size());
    for (std::size_t i = 0; i < order.size(); ++i) {
        engine.firing_order[i] = order[i];
        engine.firing_tdc_deg[i] = tdc_deg.empty() ? 720.0 / engine.cylinders * static_cast<double>(i) : tdc_deg[i];
    }
    return engine;
}

std::vector<int> pins(const EngineConfig& engine) {
    const CrankPins crank(engine);
    std::vector<int> pins;
    for (int c = 1; c <= engine.cylinders; ++c) pins.push_back(crank.of(c));
    return pins;
}

using Pins = std::vector<int>;

// Cranks of usual engines: common practice, no source.

TEST(CrankPins, AreThoseOfACrankInLineWhereTheCylindersFromBothEndsMoveTogether) {
    const Pins four{1, 2, 3, 4};
    const Pins six{1, 2, 3, 4, 5, 6};
    EXPECT_EQ(pins(engine({1, 3, 4, 2})), four);
    EXPECT_EQ(pins(engine({1, 2, 4, 3})), four);
    EXPECT_EQ(pins(engine({1, 5, 3, 6, 2, 4})), six);
    EXPECT_EQ(pins(engine({1, 4, 2, 6, 3, 5})), six);
    EXPECT_EQ(pins(engine({1, 6, 2, 5, 8, 3, 7, 4})), (Pins{1, 2, 3, 4, 5, 6, 7, 8}));
    EXPECT_EQ(pins(engine({1, 2}, {0.0, 360.0})), (Pins{1, 2}));
}

TEST(CrankPins, AreOneACylinderWhereTheNumberOfCylindersIsOdd) {
    EXPECT_EQ(pins(engine({1, 3, 2})), (Pins{1, 2, 3}));
    EXPECT_EQ(pins(engine({1, 2, 4, 5, 3})), (Pins{1, 2, 3, 4, 5}));
    EXPECT_EQ(pins(engine({1})), (Pins{1}));
}

TEST(CrankPins, AreSharedByTheTwoOfAVeeThatAreNumberedSideBySide) {
    EXPECT_EQ(pins(engine({1, 2, 3, 4, 5, 6})), (Pins{1, 1, 2, 2, 3, 3}));
    EXPECT_EQ(pins(engine({1, 6, 5, 4, 3, 2}, {0.0, 150.0, 240.0, 390.0, 480.0, 630.0})), (Pins{1, 1, 2, 2, 3, 3}));
    EXPECT_EQ(pins(engine({1, 8, 4, 3, 6, 5, 7, 2})), (Pins{1, 1, 2, 2, 3, 3, 4, 4}));
    EXPECT_EQ(pins(engine({1, 2}, {0.0, 405.0})), (Pins{1, 1}));
}

TEST(CrankPins, AreSharedByTheTwoOfAVeeThatIsNumberedBankByBank) {
    EXPECT_EQ(pins(engine({1, 4, 2, 5, 3, 6})), (Pins{1, 2, 3, 1, 2, 3}));
    EXPECT_EQ(pins(engine({1, 5, 4, 2, 6, 3, 7, 8})), (Pins{1, 2, 3, 4, 1, 2, 3, 4}));  // two planes
    EXPECT_EQ(pins(engine({1, 5, 3, 7, 4, 8, 2, 6})), (Pins{1, 2, 3, 4, 1, 2, 3, 4}));  // one plane
    EXPECT_EQ(pins(engine({1, 6, 5, 10, 2, 7, 3, 8, 4, 9})), (Pins{1, 2, 3, 4, 5, 1, 2, 3, 4, 5}));
    EXPECT_EQ(pins(engine({1, 7, 5, 11, 3, 9, 6, 12, 2, 8, 4, 10})), (Pins{1, 2, 3, 4, 5, 6, 1, 2, 3, 4, 5, 6}));
}

TEST(CrankPins, LieBesideEachOtherUnderTheTwoOfABoxerThatReachTdcAtOnce) {
    EXPECT_EQ(pins(engine({1, 3, 2, 4})), (Pins{1, 2, 3, 4}));              // side by side
    EXPECT_EQ(pins(engine({1, 4, 3, 2})), (Pins{1, 3, 2, 4}));              // bank by bank
    EXPECT_EQ(pins(engine({1, 6, 2, 4, 3, 5})), (Pins{1, 3, 5, 2, 4, 6}));  // the same
}

TEST(CrankPins, AreNumberedFromTheFrontWhereNothingFits) {
    EngineConfig two_stroke = engine({1, 3, 4, 2}, {0.0, 90.0, 180.0, 270.0});
    two_stroke.strokes = 2;
    EXPECT_EQ(pins(two_stroke), (Pins{1, 2, 3, 4}));
    EXPECT_EQ(pins(engine({1, 3, 4, 2}, {0.0, 170.0, 350.0, 560.0})), (Pins{1, 2, 3, 4}));
}

TEST(CrankPins, AreAsTold) {
    EngineConfig boxer = engine({1, 6, 2, 4, 3, 5});
    boxer.throw_number = {1, 2, 3, 1, 2, 3};
    EXPECT_EQ(pins(boxer), (Pins{1, 2, 3, 1, 2, 3}));
    EXPECT_EQ(CrankPins(boxer).count(), 3);
}

}  // namespace
