// The stories of edges in doubt: which is believed, by how much, and when they agree.
#include "kurbel/stage/tooth_stories.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "stage/wheel_edges.hpp"

namespace kurbel::test {
namespace {

using decoding::ToothStories;

/// 36-1 at 10 ticks a degree, the crank turning evenly, the last tooth number 10.
struct Steady {
    Steady() {
        wheel.build(even_wheel(36, {35}));
        habit.reset(wheel);
        root.tooth = 10;
        root.rate = 10.0;
        root.rate_span = 10.0F;
        root.periods = decoding::Trace::kSteady;
        stories.begin(root);
    }
    /// An edge so many pitches after the last settled tooth.
    void edge(double pitches) {
        stories.follow(wheel, static_cast<std::int64_t>(std::llround(100.0 * pitches)), open++,
                       {decoding::Ripple::kFloor, decoding::kPitchDeg}, habit);
    }

    decoding::WheelTable wheel{};
    decoding::ToothHabit habit{};
    decoding::Trace root{};
    ToothStories stories{};
    int open = 0;
};

TEST(ToothStories, TheNextToothIsClear) {
    Steady crank;
    crank.edge(1.0);
    EXPECT_EQ(crank.stories.best().jump[0], 1);
    EXPECT_TRUE(crank.stories.clear_best());
    EXPECT_LT(crank.stories.cost(), 0.5F);
}

TEST(ToothStories, AnEdgeThatComesTooLateOwesTheToothBeforeItWhateverItIs) {
    // Two pitches late: one tooth was missed. Who takes the edge for none has that tooth still to miss, and is no cheaper.
    Steady crank;
    crank.edge(2.0);
    EXPECT_EQ(crank.stories.best().jump[0], 2);
    EXPECT_TRUE(crank.stories.clear_best());
    EXPECT_NEAR(crank.stories.cost(), decoding::kMissedCost, 0.5F);
}

TEST(ToothStories, AnEdgeBetweenTwoTeethIsNone) {
    Steady crank;
    crank.edge(0.4);
    crank.edge(1.0);
    EXPECT_EQ(crank.stories.best().jump[0], 0);
    EXPECT_EQ(crank.stories.best().jump[1], 1);
    EXPECT_NEAR(crank.stories.cost(), decoding::kExtraCost, 0.5F);
    EXPECT_TRUE(crank.stories.all_agree());
    crank.stories.drop_first(decoding::kExtraCost);
    EXPECT_EQ(crank.stories.best().jump[0], 1);
    // What was settled still counts, less with every tooth.
    EXPECT_NEAR(crank.stories.cost(), decoding::kExtraCost, 0.5F);
    for (int n = 0; n < 200; ++n) crank.stories.forget();
    EXPECT_EQ(crank.stories.cost(), crank.stories.best().total());
}

TEST(ToothStories, WhereNobodyCanTellTheBestDecidesOnceThereIsNoMoreRoom) {
    // A jump of speed or an edge too many: at some place between the teeth both are as likely.
    bool undecided = false;
    for (double place = 0.4; place < 1.0; place += 0.01) {
        Steady crank;
        crank.edge(place);
        if (crank.stories.all_agree()) continue;
        undecided = true;
        const int told = crank.stories.best().jump[0];
        crank.stories.agree_with_best();
        EXPECT_TRUE(crank.stories.all_agree()) << place;
        EXPECT_EQ(crank.stories.best().jump[0], told) << place;
    }
    EXPECT_TRUE(undecided);
}

TEST(ToothStories, NoneAreLeftOnceThereIsNoDoubt) {
    Steady crank;
    crank.edge(0.4);
    EXPECT_TRUE(crank.stories.any());
    crank.stories.reset();
    EXPECT_FALSE(crank.stories.any());
}

}  // namespace
}  // namespace kurbel::test
