// The grid of angle bins against values worked out by hand, and its promises over many engines and wheels.
#include "kurbel/stage/cycle_grid.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <initializer_list>
#include <string>
#include <vector>

#include "stage/wheel_edges.hpp"
#include "support/even_engine.hpp"

namespace kurbel::test {
namespace {

struct Layout {
    const char* name;
    int strokes;
    std::vector<double> tdc_deg;  ///< empty after the first: even
    int bins;                     ///< worked out by hand, for a wheel of 60 places
};

EngineConfig engine_of(const Layout& layout) {
    EngineConfig engine = even_engine(static_cast<int>(layout.tdc_deg.size()), layout.strokes);
    std::copy(layout.tdc_deg.begin(), layout.tdc_deg.end(), engine.firing_tdc_deg.begin());
    return engine;
}

Layout even(const char* name, int cylinders, int bins, int strokes = 4) {
    Layout layout{name, strokes, {}, bins};
    for (int i = 0; i < cylinders; ++i) layout.tdc_deg.push_back(i * (strokes == 2 ? 360.0 : 720.0) / cylinders);
    return layout;
}

/// Bins of 15 to 24 degrees mean 30 to 48 of them in 720 degrees, 16 to 24 in 360; the fewest that meet every TDC.
std::vector<Layout> layouts() {
    return {even("single", 1, 30),
            even("I3, 240 degrees", 3, 30),
            even("I4, 180 degrees", 4, 32),
            even("I5, 144 degrees", 5, 30),
            even("I6, 120 degrees", 6, 30),
            even("V8, 90 degrees", 8, 32),
            even("V10, 72 degrees", 10, 30),
            even("V12, 60 degrees", 12, 36),
            even("16 cylinders, 45 degrees", 16, 32),
            even("two-stroke single", 1, 16, 2),
            even("two-stroke triple", 3, 18, 2),
            {"parallel twin, 180-540", 4, {0.0, 180.0}, 32},
            {"parallel twin, 270-450", 4, {0.0, 270.0}, 32},
            {"V-twin, 315-405", 4, {0.0, 315.0}, 32},
            {"odd-fire V6, 90-150", 4, {0.0, 90.0, 240.0, 330.0, 480.0, 570.0}, 48}};
}

TEST(CycleGrid, FewestBinsThatMeetEveryTdc) {
    for (const Layout& layout : layouts()) {
        SCOPED_TRACE(layout.name);
        const CycleGrid grid = make_cycle_grid(engine_of(layout), even_wheel(60, {58, 59}));
        EXPECT_EQ(grid.bins, layout.bins);
        EXPECT_EQ(grid.firings, static_cast<int>(layout.tdc_deg.size()));
        for (std::size_t i = 0; i < layout.tdc_deg.size(); ++i) {
            EXPECT_NEAR(grid.tdc_offset[i], 0.0, 1e-12);
            EXPECT_NEAR(grid.tdc_bin[i] * grid.bin_deg, layout.tdc_deg[i], 1e-9);
        }
    }
}

TEST(CycleGrid, PromisesHoldForEveryEngineOnEveryWheel) {
    const std::vector<WheelConfig> wheels{
        even_wheel(60, {58, 59}), even_wheel(36, {35}), even_wheel(24, {23}), even_wheel(12, {11}),
        even_wheel(8, {7}),       even_wheel(4, {}),    even_wheel(360, {0}), listed_wheel({0.0, 80.0, 180.0, 260.0})};
    std::vector<Layout> all = layouts();
    // 90 degrees V6 with pins split by 18 degrees: only bins of 12 degrees would meet 132.
    all.push_back({"semi-even V6, 132-108", 4, {0.0, 132.0, 240.0, 372.0, 480.0, 612.0}, 0});
    all.push_back({"V-twin, 300-420", 4, {0.0, 300.0}, 0});
    for (const Layout& layout : all)
        for (const WheelConfig& wheel : wheels) {
            SCOPED_TRACE(std::string(layout.name) + ", wheel of " + std::to_string(wheel.teeth) + " teeth");
            const EngineConfig engine = engine_of(layout);
            const CycleGrid grid = make_cycle_grid(engine, wheel);
            ASSERT_GE(grid.bins, 2);
            EXPECT_LE(grid.bins, kMaxBins);
            EXPECT_EQ(grid.bins % 2, 0) << "a bin and the one half a cycle on must lie at the same teeth";
            EXPECT_NEAR(grid.bins * grid.bin_deg, engine.cycle_deg(), 1e-9);
            const double pitch_deg = 360.0 / (wheel.positions > 0 ? wheel.positions : wheel.teeth);
            EXPECT_GE(grid.bin_deg, std::min(pitch_deg, engine.cycle_deg() / 2.0) - 1e-9);
            EXPECT_LE(grid.bin_deg, std::max(24.0, 1.6 * pitch_deg) + 1e-9);
            for (std::size_t i = 0; i < layout.tdc_deg.size(); ++i) {
                ASSERT_GE(grid.tdc_bin[i], 0);
                ASSERT_LT(grid.tdc_bin[i], grid.bins);
                EXPECT_LE(std::fabs(grid.tdc_offset[i]), 0.5);
                const double told_deg = (grid.tdc_bin[i] + grid.tdc_offset[i]) * grid.bin_deg;
                EXPECT_NEAR(std::remainder(told_deg - layout.tdc_deg[i], engine.cycle_deg()), 0.0, 1e-9);
            }
        }
}

TEST(CycleGrid, NamesTheFiringThatBeginsAtABin) {
    const CycleGrid grid = make_cycle_grid(engine_of(even("I4", 4, 32)), even_wheel(60, {58, 59}));
    for (int bin = 0; bin < kMaxBins; ++bin)
        EXPECT_EQ(grid.firing_at[static_cast<std::size_t>(bin)], bin % 8 == 0 && bin < 32 ? bin / 8 : -1) << bin;
}

TEST(CycleGrid, CoarseWheelsGetBinsOfAToothAtLeast) {
    const CycleGrid four = make_cycle_grid(engine_of(even("I4", 4, 0)), even_wheel(4, {}));
    EXPECT_EQ(four.bins, 8);
    const CycleGrid twelve = make_cycle_grid(engine_of(even("I4", 4, 0)), even_wheel(12, {11}));
    EXPECT_EQ(twelve.bins, 24);
    // 144 degrees are 4.8 pitches of 30: bins of 36 degrees meet every TDC of an I5.
    const CycleGrid five = make_cycle_grid(engine_of(even("I5", 5, 0)), even_wheel(12, {11}));
    EXPECT_EQ(five.bins, 20);
    for (std::size_t i = 0; i < 5; ++i) EXPECT_NEAR(five.tdc_offset[i], 0.0, 1e-12);
}

}  // namespace
}  // namespace kurbel::test
