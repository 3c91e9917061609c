// When a cylinder is held to be dead, and what frees it.
#include "kurbel/stage/cylinder_levels.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "kurbel/stage/firing_work.hpp"
#include "stage/rigid_pattern.hpp"

namespace kurbel::test {
namespace {

constexpr double kSpeed_rpm = 1500.0;

/// An inline four whose cycles scatter by 5 % of a firing's work.
struct Engine : CrankParts {
    Engine() : CrankParts(engine_of({1, 3, 4, 2})) {
        bank.set_speed(static_cast<float>(kSpeed_rpm));
        levels.begin(config.engine, config.crank_wheel, grid, bank, -before, size);
        std::mt19937_64 random(5);
        std::normal_distribution<double> normal;
        for (int n = 0; n < 20; ++n) {
            PerPlace scatter{};
            for (double& value : scatter) value = 0.05 * normal(random);
            CycleOfBins residual = rigid_differences(*this, scatter, PerPlace{});
            for (double& value : residual) value *= kExpected;
            levels.track(residual, kExpected);
        }
    }

    /// What was learned of an engine that does this work at each place.
    [[nodiscard]] LearnedPattern<double> pattern(const PerPlace& work) const {
        return rigid_pattern(*this, rigid_differences(*this, work, all_places(kIntake)), kSpeed_rpm);
    }

    void examine(const PerPlace& work, bool accuses, int times) {
        for (int n = 0; n < times; ++n) levels.examine(pattern(work), bank, accuses ? 0.0 : 1e9);
    }

    CylinderLevels<double> levels{};
};

PerPlace without(int place) {
    PerPlace work = all_places(1.0);
    work[static_cast<std::size_t>(place)] = 0.0;
    return work;
}

TEST(CylinderLevels, TwoLooksAccuse) {
    Engine engine;
    engine.examine(without(2), true, 1);
    EXPECT_FALSE(engine.levels.is_dead(2));
    engine.examine(without(2), true, 1);
    EXPECT_TRUE(engine.levels.is_dead(2));
    EXPECT_EQ(engine.levels.missing(2), 1.0);
    EXPECT_FALSE(engine.levels.is_dead(1));
}

TEST(CylinderLevels, WhileTheSpeedMovesNobodyIsAccusedButFreed) {
    Engine engine;
    engine.examine(without(2), false, 6);
    EXPECT_FALSE(engine.levels.is_dead(2));
    engine.examine(without(2), true, 2);
    ASSERT_TRUE(engine.levels.is_dead(2));
    engine.examine(without(2), false, 2);
    EXPECT_TRUE(engine.levels.is_dead(2));
    engine.examine(without(1), false, 3);
    EXPECT_FALSE(engine.levels.is_dead(1));
    EXPECT_TRUE(engine.levels.is_dead(2));
    // Only where its own orders clearly speak against it.
    PerPlace work = all_places(1.0);
    work[2] = 1.3;
    engine.examine(work, false, 3);
    EXPECT_FALSE(engine.levels.is_dead(2));
}

TEST(CylinderLevels, WhileTheSpeedMovesMoreIsAsked) {
    Engine engine;
    for (int n = 0; n < 2; ++n) engine.levels.examine(engine.pattern(without(2)), engine.bank, 500.0);
    EXPECT_FALSE(engine.levels.is_dead(2));
    for (int n = 0; n < 2; ++n) engine.levels.examine(engine.pattern(without(2)), engine.bank, 10.0);
    EXPECT_TRUE(engine.levels.is_dead(2));
}

TEST(CylinderLevels, WhatWasLostBeforeIsWeighedOnce) {
    // Its losses were weighed against it when it was accused. From then on new ones tell.
    Engine engine;
    engine.levels.follow_life(2, 1.0, 0.0, 11.0);
    engine.examine(without(2), true, 2);
    ASSERT_TRUE(engine.levels.is_dead(2));
    engine.levels.follow_life(2, 0.0, 1.0, -12.0);
    EXPECT_TRUE(engine.levels.is_dead(2));
    engine.levels.follow_life(2, 1.0, 0.0, 12.0);
    EXPECT_FALSE(engine.levels.is_dead(2));
}

TEST(CylinderLevels, TwoWholeLossesFreeACylinderThatWasHeldDead) {
    Engine engine;
    engine.examine(without(2), true, 2);
    ASSERT_TRUE(engine.levels.is_dead(2));
    engine.levels.follow_life(2, 0.02, 1.0, -12.0);
    engine.levels.follow_life(1, 0.9, 0.0, 12.0);  // of another, that burns
    engine.levels.follow_life(2, 1.0, 0.0, 8.0);
    EXPECT_TRUE(engine.levels.is_dead(2));
    engine.levels.follow_life(2, 1.0, 0.0, 8.0);
    EXPECT_FALSE(engine.levels.is_dead(2));
}

TEST(CylinderLevels, WhoIsFreedByWholeLossesIsAccusedByTwoLooksAgainAndNotByOne) {
    Engine engine;
    engine.examine(without(2), true, 2);
    for (int n = 0; n < 2; ++n) engine.levels.follow_life(2, 1.0, 0.0, 8.0);
    ASSERT_FALSE(engine.levels.is_dead(2));
    // Until what its losses told is forgotten, and the orders alone speak.
    for (int n = 0; n < 400; ++n) engine.levels.follow_life(2, 0.0, 1.0, -12.0);
    engine.examine(without(2), true, 1);
    EXPECT_FALSE(engine.levels.is_dead(2));
}

TEST(CylinderLevels, WhatWasSeenBeforeTheFrameTurnedWasOfAnotherCylinder) {
    Engine engine;
    engine.examine(without(2), true, 2);
    ASSERT_TRUE(engine.levels.is_dead(2));
    engine.levels.follow_life(2, 1.0, 0.0, 8.0);
    engine.levels.turned();
    EXPECT_FALSE(engine.levels.is_dead(2));
    const auto look_twice = [&engine] {
        std::mt19937_64 random(6);
        std::normal_distribution<double> normal;
        for (int n = 0; n < 20; ++n) {
            PerPlace scatter{};
            for (double& value : scatter) value = 0.05 * normal(random);
            CycleOfBins residual = rigid_differences(engine, scatter, PerPlace{});
            for (double& value : residual) value *= kExpected;
            engine.levels.track(residual, kExpected);
        }
        engine.examine(without(2), true, 2);
    };
    look_twice();
    ASSERT_TRUE(engine.levels.is_dead(2));
    engine.levels.follow_life(2, 1.0, 0.0, 8.0);
    EXPECT_TRUE(engine.levels.is_dead(2));
}

TEST(CylinderLevels, ACylinderThatFiresAgainRevives) {
    Engine engine;
    engine.examine(without(0), true, 2);
    ASSERT_TRUE(engine.levels.is_dead(0));
    double amplitude = 0.0;
    engine.levels.note_dead(0, -1.0, 0.1, false, 1.0);
    EXPECT_FALSE(engine.levels.revives(0, false, amplitude));
    engine.levels.note_dead(0, -0.8, 0.1, false, 1.0);
    EXPECT_FALSE(engine.levels.revives(1, false, amplitude));
    EXPECT_TRUE(engine.levels.revives(0, false, amplitude));
    EXPECT_NEAR(amplitude, -0.9, 1e-6);
    EXPECT_FALSE(engine.levels.is_dead(0));
    // And is not accused by the orders of a pattern that has not been moved yet.
    engine.examine(without(0), true, 1);
    EXPECT_FALSE(engine.levels.is_dead(0));
}

TEST(CylinderLevels, OneThatBurnsNowAndThenDoesNotRevive) {
    Engine engine;
    engine.examine(without(0), true, 2);
    double amplitude = 0.0;
    for (int n = 0; n < 40; ++n) {
        engine.levels.note_dead(0, n % 2 == 0 ? -1.0 : 0.0, 0.1, false, 1.0);
        EXPECT_FALSE(engine.levels.revives(0, false, amplitude)) << n;
    }
}

TEST(CylinderLevels, WhoBurnsAsAnotherRevivesNeedsShowItOnce) {
    Engine engine;
    engine.examine(without(0), true, 2);
    double amplitude = 0.0;
    EXPECT_FALSE(engine.levels.revives(0, true, amplitude));
    engine.levels.note_dead(0, -1.0, 0.1, false, 1.0);
    EXPECT_FALSE(engine.levels.revives(0, false, amplitude));
    EXPECT_TRUE(engine.levels.revives(0, true, amplitude));
    EXPECT_NEAR(amplitude, -1.0, 1e-6);
}

/// Its first cylinder is held dead.
struct HeldEngine : Engine {
    HeldEngine() {
        examine(without(0), true, 2);
        EXPECT_TRUE(levels.is_dead(0));
    }
    void read(int times, double amplitude, double error, bool moving, double growth = 1.0) {
        for (int n = 0; n < times; ++n) levels.note_dead(0, amplitude, error, moving, growth);
    }
    void others_read(int times, double lost) {
        for (int n = 0; n < times; ++n) levels.note_usual(n % 2 == 0 ? lost : -lost, 0.05);
    }
    [[nodiscard]] bool revives() {
        double amplitude = 0.0;
        return levels.revives(0, false, amplitude);
    }
};

TEST(CylinderLevels, ReadingsThatTellNextToNothingReviveNobody) {
    HeldEngine engine;
    // Just after a fuel cut a dead cylinder reads as anything: -0.7 with a standard error of 2.7 where 0.16 is usual.
    engine.read(12, -0.7, 2.7, false);
    EXPECT_FALSE(engine.revives());
    // While the speed moves a pattern may be off by nearly half of a work.
    engine.read(12, -0.45, 0.16, true);
    EXPECT_FALSE(engine.revives());
    EXPECT_TRUE(engine.levels.is_dead(0));
    // In a steady state it is not off by as much, and a cylinder that reads so all of a sudden burns.
    engine.read(4, 0.0, 0.16, false);
    engine.read(12, -0.45, 0.16, false);
    EXPECT_TRUE(engine.revives());
}

TEST(CylinderLevels, WhatThePatternIsOffByDoesNotAddUp) {
    HeldEngine engine;
    // A pattern that is off by half of the work or so while the speed moves, as the others show, makes all firings read alike; hundreds of them
    // tell no more of that than a few do.
    engine.others_read(8, 0.4);
    engine.read(200, -0.65, 0.05, true);
    EXPECT_FALSE(engine.revives());
    EXPECT_TRUE(engine.levels.is_dead(0));
}

TEST(CylinderLevels, APatternThatDriftsAwayRevivesNobodyAndAStepDoes) {
    HeldEngine engine;
    // As the pedal is let go the pattern falls behind, by an eighth of a work a cycle.
    double reading = 0.0;
    for (int n = 0; n < 12; ++n) engine.read(1, reading -= 0.12, 0.1, true);
    EXPECT_FALSE(engine.revives());
    EXPECT_TRUE(engine.levels.is_dead(0));
    // A gear that bites may do that in two cycles, a cylinder that burns does it in each.
    engine.read(2, reading - 1.0, 0.1, true);
    EXPECT_FALSE(engine.revives());
    engine.read(1, reading - 1.0, 0.1, true);
    EXPECT_TRUE(engine.revives());
}

TEST(CylinderLevels, WhatTheOthersReadTellsHowFarThePatternIsOff) {
    // The pedal is let go: by a pattern that the others agree with a cylinder burns again, by one that is off for them, too, it may not.
    for (const double others : {0.1, 0.5}) {
        HeldEngine engine;
        engine.others_read(8, others);
        engine.read(4, -0.7, 0.12, true);
        EXPECT_EQ(engine.revives(), others < 0.3) << others;
    }
}

TEST(CylinderLevels, WhatThePatternWillBeOffByLaterDoesNotDoubtAStepBefore) {
    HeldEngine engine;
    engine.others_read(8, 0.2);
    // The work falls from now on, and with it the pattern tells less and less.
    for (const double growth : {1.0, 1.0, 1.2, 1.4, 1.7}) engine.read(1, -0.8, 0.12, true, growth);
    EXPECT_TRUE(engine.revives());
}

TEST(CylinderLevels, WhoReadAsMoreThanDeadHasNotBurnedWhenItDoesNotAnyMore) {
    HeldEngine engine;
    // A clutch that is let in takes more from the crank than the cylinder ever did.
    engine.read(10, 1.4, 0.1, true);
    engine.read(10, -0.2, 0.1, true);
    EXPECT_FALSE(engine.revives());
}

TEST(CylinderLevels, WhereTheFootIsLiftedThePatternsErrorsAreAsLargeAsTheWork) {
    HeldEngine engine;
    // A sixth of the work is left: what was 0.12 of it when the pattern was learned is 0.7 now.
    engine.read(40, -1.1, 0.25, false, 6.0);
    EXPECT_FALSE(engine.revives());
    EXPECT_TRUE(engine.levels.is_dead(0));
}

TEST(CylinderLevels, WhoIsHeldDeadStaysSoAsLongAsItsOwnOrdersSpeakForIt) {
    Engine engine;
    engine.examine(without(2), true, 2);
    ASSERT_TRUE(engine.levels.is_dead(2));
    // It seems to do rather more than half of its work: no dead set explains that, but it is no sign of life either.
    PerPlace work = all_places(1.0);
    work[2] = 0.55;
    engine.examine(work, true, 2);
    EXPECT_TRUE(engine.levels.is_dead(2));
    engine.examine(all_places(1.0), true, 2);
    EXPECT_FALSE(engine.levels.is_dead(2));
}

/// The same with responses as windows that scatter by 5 % in each bin leave them.
struct RespondingEngine : Engine {
    RespondingEngine() {
        covariance.begin(size);
        covariance.add_prior_diagonal(0.05F * 0.05F);
        bank.compose(covariance);
    }
    WindowCovariance covariance{};
};

/// Loses as many works as one that died does.
void lose(Engine& engine, int place) {
    for (int n = 0; n < 12; ++n) engine.levels.note(place, 1.0, 1.0);
}

TEST(CylinderLevels, WhoLosesTwelveInARowHasDied) {
    RespondingEngine engine;
    for (int n = 0; n < 11; ++n) engine.levels.note(2, 1.0, 1.0);
    EXPECT_FALSE(engine.levels.may_have_died(2));
    engine.levels.note(2, 1.0, 1.0);
    ASSERT_TRUE(engine.levels.may_have_died(2));
    double amplitude = 0.0;
    EXPECT_TRUE(engine.levels.dies(2, engine.pattern(all_places(1.0)), engine.bank, amplitude));
    EXPECT_NEAR(amplitude, 1.0, 0.15);
    EXPECT_TRUE(engine.levels.is_dead(2));
    EXPECT_NEAR(engine.levels.died_by(2), amplitude, 1e-6);
    EXPECT_EQ(engine.levels.died_by(1), 0.0);
    EXPECT_FALSE(engine.levels.may_burn(2));
    // What its firings read as while the pattern is not quite where it is now frees nobody.
    for (int n = 0; n < 4; ++n) engine.levels.follow_life(2, 0.4, 0.0, 12.0);
    EXPECT_TRUE(engine.levels.is_dead(2));
    engine.examine(without(2), true, 3);
    EXPECT_TRUE(engine.levels.is_dead(2));
    // The orders of a pattern in which it does its work, and a little more, do.
    PerPlace work = all_places(1.0);
    work[2] = 1.2;
    engine.examine(work, true, 1);
    EXPECT_FALSE(engine.levels.is_dead(2));
    EXPECT_EQ(engine.levels.died_by(2), 0.0);
}

TEST(CylinderLevels, WhoDidTwiceAsMuchHasNotDiedWhenHeDoesAsTheOthers) {
    RespondingEngine engine;
    lose(engine, 1);
    PerPlace work = all_places(1.0);
    work[1] = 2.0;
    double amplitude = 0.0;
    EXPECT_FALSE(engine.levels.dies(1, engine.pattern(work), engine.bank, amplitude));
    EXPECT_FALSE(engine.levels.is_dead(1));
}

TEST(CylinderLevels, OfTwoOppositeOnesThatDiedTheOrdersShowNeitherAndBothAreHeldDead) {
    RespondingEngine engine;
    lose(engine, 0);
    lose(engine, 2);
    double amplitude = 0.0;
    ASSERT_TRUE(engine.levels.dies(0, engine.pattern(all_places(1.0)), engine.bank, amplitude));
    ASSERT_TRUE(engine.levels.dies(2, engine.pattern(without(0)), engine.bank, amplitude));
    PerPlace work = without(0);
    work[2] = 0.0;
    engine.examine(work, true, 4);
    for (const int place : {0, 1, 2, 3}) EXPECT_EQ(engine.levels.is_dead(place), place % 2 == 0) << place;
}

TEST(FiringWork, WeighsByWhatTheUsualFiringIsMeasuredBy) {
    // Usual variance 0.01, pattern of four cycles, and as much again by a short window: 0.01 / (0.01 (1 + 1/4) + 0.0125).
    FiringWork<double> firing;
    EXPECT_EQ(firing.weight(), 0.0);
    firing.pattern_doubt = 0.25;
    firing.known_variance = 0.0125;
    firing.lost_se = std::sqrt(0.01 * 1.25 + 0.0125);
    EXPECT_NEAR(firing.weight(), 0.4, 1e-12);
    firing.known_variance = 0.0;
    firing.pattern_doubt = 0.0;
    EXPECT_NEAR(firing.weight(), 1.0, 1e-12);
}

TEST(CylinderLevels, WhoIsFreedIsNotDeadAndMaySeemSoAgain) {
    Engine engine;
    engine.examine(without(0), true, 2);
    ASSERT_TRUE(engine.levels.is_dead(0));
    engine.levels.free(0);
    EXPECT_FALSE(engine.levels.is_dead(0));
    engine.examine(without(0), true, 1);
    EXPECT_FALSE(engine.levels.is_dead(0));
    engine.examine(without(0), true, 1);
    EXPECT_TRUE(engine.levels.is_dead(0));
}

TEST(CylinderLevels, WhoDoesLessThanTheOthersIsSuspected) {
    Engine engine;
    PerPlace work = all_places(1.0);
    work[3] = 0.6;
    engine.examine(work, true, 2);
    EXPECT_FALSE(engine.levels.is_dead(3));
    for (int k = 0; k < 4; ++k)
        EXPECT_EQ(engine.levels.suspects(engine.pattern(work))[static_cast<std::size_t>(k)], k == 3) << k;
    work[3] = 1.4;
    engine.examine(work, true, 2);
    EXPECT_FALSE(engine.levels.suspects(engine.pattern(work))[3]);
}

TEST(CylinderLevels, AWrongPatternIsOneThatNoFiringIsLike) {
    // A place that loses its work against a pattern in which it does twice as much as the others.
    PerPlace work = all_places(1.0);
    work[1] = 2.0;
    const auto accused = [&work](int firings, int one_that_fires) {
        Engine engine;
        engine.examine(work, true, 2);
        for (int n = 0; n < firings; ++n) engine.levels.note(1, n == one_that_fires ? 0.0 : 1.0, 1.0);
        double amplitude = 0.0;
        return engine.levels.wrongly_accused(engine.pattern(work), engine.bank, false, amplitude);
    };
    EXPECT_EQ(accused(9, -1), 1);
    EXPECT_EQ(accused(9, 5), -1);
    EXPECT_EQ(accused(12, 4), 1);
}

TEST(CylinderLevels, APatternIsWrongByWhatAllTheFiringsOfARunRead) {
    // Told as soon as six in a row read so, and again by six more: a mean that began from nothing would have two thirds of it.
    PerPlace work = all_places(1.0);
    work[1] = 1.7;
    Engine engine;
    engine.examine(work, true, 2);
    for (int told = 0; told < 2; ++told) {
        for (int n = 0; n < 6; ++n) engine.levels.note(1, 0.7, n % 2 == 0 ? 1.0 : 0.6);
        double amplitude = 0.0;
        ASSERT_EQ(engine.levels.wrongly_accused(engine.pattern(work), engine.bank, false, amplitude), 1) << told;
        EXPECT_NEAR(amplitude, 0.7, 1e-6) << told;
    }
}

TEST(CylinderLevels, APatternMayBeWrongByLessThanHalfOfAWork) {
    // Firings that each lose two fifths against a pattern in which their place does as much more than the others: they are as the others are.
    PerPlace work = all_places(1.0);
    work[1] = 1.4;
    const auto accused = [&work](double lost) {
        Engine engine;
        engine.examine(work, true, 2);
        for (int n = 0; n < 12; ++n) engine.levels.note(1, lost, 1.0);
        double amplitude = 0.0;
        const int place = engine.levels.wrongly_accused(engine.pattern(work), engine.bank, false, amplitude);
        if (place == 1) {
            EXPECT_NEAR(amplitude, lost, 0.1);
        }
        return place;
    };
    EXPECT_EQ(accused(0.4), 1);
    // What is no misfire is nobody's accusation.
    EXPECT_EQ(accused(0.2), -1);
}

}  // namespace
}  // namespace kurbel::test
