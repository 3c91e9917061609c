// Which cylinders a learned pattern accuses, on patterns of a rigid crank that are known exactly.
#include "kurbel/stage/persistent_misfire.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

#include "stage/pattern_bench.hpp"

namespace kurbel::test {
namespace {

TEST(PersistentMisfire, FindsOneDeadCylinderAtEveryPlace) {
    for (const NamedEngine& c : named_engines())
        for (int dead = 0; dead < c.engine.cylinders; ++dead) {
            PatternBench bench(c.engine);
            bench.track(20);
            PerPlace work = bench.healthy(0.02);
            work[static_cast<std::size_t>(dead)] = 0.0;
            const auto finding = bench.persistent.examine(bench.pattern(work), kSilent);
            EXPECT_EQ(named(finding.missing), std::vector<int>{dead}) << c.name << ", place " << dead;
            // Beyond the loss that was found nobody is far from the others.
            for (int k = 0; k < c.engine.cylinders; ++k)
                EXPECT_LT(std::fabs(finding.deviation[static_cast<std::size_t>(k)]), 0.15) << c.name << ", place " << k;
        }
}

/// Of two dead cylinders one revolution apart, or nearly so, only integer orders tell, and those are the wheel's, too.
bool opposite(const EngineConfig& engine, int first, int second) {
    return std::fabs(engine.firing_tdc_deg[static_cast<std::size_t>(second)] -
                     engine.firing_tdc_deg[static_cast<std::size_t>(first)] - 360.0) < 31.0;
}

TEST(PersistentMisfire, FindsTwoDeadCylinders) {
    for (const NamedEngine& c : named_engines())
        for (int first = 0; first < c.engine.cylinders; ++first)
            for (int second = first + 1; second < c.engine.cylinders && c.engine.cylinders > 3; ++second) {
                const std::vector<int> both{first, second};
                // Wheel errors grow with speed squared: at idle they are small beside a firing's work, at 1500 rpm not.
                for (const double rpm : {600.0, 1500.0}) {
                    PatternBench bench(c.engine, rpm);
                    bench.track(20);
                    PerPlace work = bench.healthy(0.02);
                    work[static_cast<std::size_t>(first)] = work[static_cast<std::size_t>(second)] = 0.0;
                    const std::vector<int> found =
                        named(bench.persistent.examine(bench.pattern(work), kSilent).missing);
                    if (rpm > 1000.0 && opposite(c.engine, first, second))
                        EXPECT_TRUE(found.empty() || found == both) << c.name;
                    else
                        EXPECT_EQ(found, both) << c.name << ", " << rpm << " rpm";
                }
            }
}

TEST(PersistentMisfire, DoesNotAccuseTheSpreadOfAHealthyEngine) {
    for (const NamedEngine& c : named_engines()) {
        PatternBench bench(c.engine);
        bench.track(20);
        for (int draw = 0; draw < 12; ++draw) {
            const auto finding = bench.persistent.examine(bench.pattern(bench.healthy(0.05)), kSilent);
            EXPECT_TRUE(named(finding.missing).empty()) << c.name << ", draw " << draw;
        }
    }
}

TEST(PersistentMisfire, TellsAHealthySpreadByItsDeviations) {
    // Less what all have in common, which cannot be seen, and drawn towards none.
    PatternBench bench(engine_of({1, 2, 4, 5, 3}));
    bench.track(20);
    double product = 0.0;
    double square = 0.0;
    for (int draw = 0; draw < 30; ++draw) {
        const PerPlace work = bench.healthy(0.05);
        double mean = 0.0;
        for (std::size_t k = 0; k < 5; ++k) mean += work[k] / 5.0;
        const auto finding = bench.persistent.examine(bench.pattern(work), kSilent);
        for (std::size_t k = 0; k < 5; ++k) {
            product += (mean - work[k]) * finding.deviation[k];
            square += (mean - work[k]) * (mean - work[k]);
        }
    }
    EXPECT_GT(product / square, 0.3);
    EXPECT_LT(product / square, 1.1);
}

TEST(PersistentMisfire, AWeakCylinderIsNotAccusedButMeasured) {
    for (const NamedEngine& c : named_engines())
        for (int weak = 0; weak < c.engine.cylinders; ++weak) {
            PatternBench bench(c.engine);
            bench.track(20);
            PerPlace work = bench.healthy(0.01);
            work[static_cast<std::size_t>(weak)] = 0.7;
            const auto finding = bench.persistent.examine(bench.pattern(work), kSilent);
            EXPECT_TRUE(named(finding.missing).empty()) << c.name << ", place " << weak;
            // Drawn towards none: one pattern does not tell it from burn timing and torsion that nobody knows.
            const double deviation = finding.deviation[static_cast<std::size_t>(weak)];
            EXPECT_GT(deviation, 0.08) << c.name << ", place " << weak;
            EXPECT_LT(deviation, 0.4) << c.name << ", place " << weak;
            for (int k = 0; k < c.engine.cylinders; ++k)
                EXPECT_TRUE(k == weak || finding.deviation[static_cast<std::size_t>(k)] < 0.5 * deviation) << c.name;
        }
}

TEST(PersistentMisfire, AnEqualLossInAllIsNoDifference) {
    PatternBench bench(engine_of({1, 3, 4, 2}));
    bench.track(20);
    const auto finding = bench.persistent.examine(bench.pattern(all_places(0.6)), kSilent);
    EXPECT_TRUE(named(finding.missing).empty());
    for (std::size_t k = 0; k < 4; ++k) EXPECT_NEAR(finding.deviation[k], 0.0, 0.02);
}

TEST(PersistentMisfire, SaysNothingBeforeItKnowsTheScatter) {
    PatternBench bench(engine_of({1, 3, 4, 2}));
    PerPlace work = all_places(1.0);
    work[2] = 0.0;
    for (int cycles = 0; cycles < 3; ++cycles) {
        EXPECT_TRUE(named(bench.persistent.examine(bench.pattern(work), kSilent).missing).empty()) << cycles;
        bench.track(1);
    }
    EXPECT_EQ(named(bench.persistent.examine(bench.pattern(work), kSilent).missing), std::vector<int>{2});
}

TEST(PersistentMisfire, AnEngineOfOneHasNobodyToCompareWith) {
    PatternBench bench(engine_of({1}));
    bench.track(20);
    EXPECT_TRUE(named(bench.persistent.examine(bench.pattern(all_places(0.0)), kSilent).missing).empty());
}

TEST(PersistentMisfire, IsConfirmedByASecondEqualFinding) {
    PatternBench bench(engine_of({1, 3, 4, 2}));
    bench.track(20);
    PerPlace one = all_places(1.0);
    one[1] = 0.0;
    PerPlace other = all_places(1.0);
    other[3] = 0.0;
    const auto of_one = bench.persistent.examine(bench.pattern(one), kSilent);
    EXPECT_FALSE(bench.persistent.confirmed(of_one));
    EXPECT_TRUE(bench.persistent.confirmed(of_one));
    const auto of_other = bench.persistent.examine(bench.pattern(other), kSilent);
    ASSERT_EQ(named(of_other.missing), std::vector<int>{3});
    EXPECT_FALSE(bench.persistent.confirmed(of_other));
    EXPECT_FALSE(bench.persistent.confirmed(of_one));
    EXPECT_TRUE(bench.persistent.confirmed(of_one));
    // That nobody is dead is a finding like others; the first of all need not be said twice.
    bench.persistent.restart();
    EXPECT_TRUE(bench.persistent.confirmed(Persistent::Finding{}));
    EXPECT_FALSE(bench.persistent.confirmed(of_one));
}

TEST(PersistentMisfire, WhoWasSeenToDieStaysHeldWhateverIsFoundMeanwhile) {
    PatternBench bench(engine_of({1, 3, 4, 2}));
    bench.track(20);
    PerPlace dead = all_places(1.0);
    dead[1] = 0.0;
    bench.persistent.convict(1);
    bench.persistent.hold(Persistent::Set{}, 0.0);  // a pattern that told of nobody
    const auto again = bench.persistent.examine(bench.pattern(dead), kSilent);
    ASSERT_EQ(named(again.missing), std::vector<int>{1});
    EXPECT_EQ(again.more, 0.0) << "nothing new";
    bench.persistent.acquit(1);
    EXPECT_GT(bench.persistent.examine(bench.pattern(dead), kSilent).more, 10.0);
}

TEST(PersistentMisfire, SeveralAreLateWhereThePatternHasLongBeenKnown) {
    Persistent::Finding one;
    one.missing[1] = true;
    Persistent::Finding two = one;
    two.missing[3] = true;
    PatternBench young(engine_of({1, 3, 4, 2}));
    young.track(20);
    EXPECT_FALSE(young.persistent.is_late_set(two));
    PatternBench old(engine_of({1, 3, 4, 2}));
    old.track(400);
    EXPECT_TRUE(old.persistent.is_late_set(two));
    EXPECT_FALSE(old.persistent.is_late_set(one));
    EXPECT_FALSE(old.persistent.is_late_set(Persistent::Finding{}));
}

TEST(PersistentMisfire, WhoWasFoundForSureIsNotSoonFreed) {
    PerPlace opposite = all_places(1.0);
    opposite[0] = opposite[2] = 0.2;
    Persistent::Set pair{};
    pair[0] = pair[2] = true;
    // Odds of the pair after it, or nobody, was held for these reasons, one after the other.
    const auto odds_after = [&](std::initializer_list<std::pair<Persistent::Set, double>> reasons) {
        PatternBench bench(engine_of({1, 3, 4, 2}), 2000.0);
        bench.track(400);
        for (const auto& [set, odds] : reasons) bench.persistent.hold(set, odds);
        return bench.persistent.examine(bench.pattern(opposite), kSilent).odds;
    };
    // 400 cycles made three of each, six of the pair, of that it was held.
    const double hardly = odds_after({{pair, 4.0}});
    EXPECT_NEAR(odds_after({{pair, 18.0}}) - hardly, 12.0, 2.0);
    EXPECT_NEAR(odds_after({{pair, 18.0}, {pair, 4.0}}) - hardly, 12.0, 2.0) << "what was sure once stays so";
    EXPECT_EQ(odds_after({{pair, 18.0}, {{}, 4.0}, {pair, 4.0}}), hardly) << "until another set is found";
    EXPECT_NEAR(odds_after({{pair, 4.0}, {pair, 10.0}, {pair, 10.0}}), hardly, 0.1) << "no finding is sure by itself";
}

TEST(PersistentMisfire, TheLongerAPatternIsKnownTheLessAFindingChanges) {
    // Two that lie a revolution apart, which the wheel might explain, too, are accused early on, not where 400 cycles found
    // nobody; and where a dead cylinder was found, it stays found with half of its work. A pattern that contradicts clears it
    // nevertheless.
    PerPlace opposite = all_places(1.0);
    opposite[0] = opposite[2] = 0.2;
    PerPlace half = all_places(1.0);
    half[1] = 0.46;
    PerPlace dead = all_places(1.0);
    dead[1] = 0.0;
    const std::vector<int> none{};
    const std::vector<int> one{1};

    PatternBench young(engine_of({1, 3, 4, 2}), 1000.0);
    young.track(20);
    EXPECT_EQ(named(young.persistent.examine(young.pattern(opposite), kSilent).missing), (std::vector<int>{0, 2}));
    PatternBench old(engine_of({1, 3, 4, 2}), 1000.0);
    old.track(400);
    EXPECT_EQ(named(old.persistent.examine(old.pattern(opposite), kSilent).missing), none);
    // One alone shows at half orders and would have been found at once.
    PerPlace drifted = all_places(1.0);
    drifted[1] = 0.45;
    EXPECT_EQ(named(young.persistent.examine(young.pattern(drifted), kSilent).missing), one);
    EXPECT_EQ(named(old.persistent.examine(old.pattern(drifted), kSilent).missing), none);

    for (int n = 0; n < 2; ++n) {
        const auto finding = old.persistent.examine(old.pattern(dead), kSilent);
        ASSERT_EQ(named(finding.missing), one);
        if (old.persistent.confirmed(finding)) old.persistent.hold(finding.missing, finding.odds);
    }
    EXPECT_EQ(named(old.persistent.examine(old.pattern(half), kSilent).missing), one);
    EXPECT_EQ(named(old.persistent.examine(old.pattern(all_places(1.0)), kSilent).missing), none);
    old.persistent.restart();
    old.track(20);
    EXPECT_EQ(named(old.persistent.examine(old.pattern(all_places(1.0)), kSilent).missing), none);
}

TEST(PersistentMisfire, WhoWasDeadOnceIsFoundAgainLaterOn) {
    // Freed while the engine coasts, say: its losses are still in the pattern, and there they may be seen again.
    PerPlace drifted = all_places(1.0);
    drifted[1] = 0.45;
    PatternBench bench(engine_of({1, 3, 4, 2}), 1000.0);
    bench.track(400);
    EXPECT_EQ(named(bench.persistent.examine(bench.pattern(drifted), kSilent).missing), std::vector<int>{});
    Persistent::Set dead{};
    dead[1] = true;
    bench.persistent.remember(dead);
    EXPECT_EQ(named(bench.persistent.examine(bench.pattern(drifted), kSilent).missing), std::vector<int>{1});
    EXPECT_EQ(named(bench.persistent.examine(bench.pattern(all_places(1.0)), kSilent).missing), std::vector<int>{});
    PerPlace other = all_places(1.0);
    other[2] = 0.45;
    EXPECT_EQ(named(bench.persistent.examine(bench.pattern(other), kSilent).missing), std::vector<int>{});
    bench.persistent.restart();
    bench.track(400);
    EXPECT_EQ(named(bench.persistent.examine(bench.pattern(drifted), kSilent).missing), std::vector<int>{});
}

TEST(PersistentMisfire, SignsOfLifeDecideWhatThePatternLeavesOpen) {
    // A pair a revolution apart at a speed at which the wheel might explain it, too. Scatter finds it: and clears it.
    PerPlace work = all_places(1.0);
    work[1] = work[3] = 0.0;
    const auto after = [&](double scatter_of_pair) {
        PatternBench bench(engine_of({1, 3, 4, 2}), 1250.0);
        bench.track(400);
        CylinderLife<double> life;
        life.begin(4);
        std::normal_distribution<double> normal;
        for (int n = 0; n < 200; ++n)
            for (int k = 0; k < 4; ++k)
                life.follow(k, (k % 2 == 1 ? scatter_of_pair : 0.06) * normal(bench.random), 1.0);
        return named(bench.persistent.examine(bench.pattern(work), life).missing);
    };
    EXPECT_EQ(after(0.06), std::vector<int>{});
    EXPECT_EQ(after(0.02), (std::vector<int>{1, 3}));
}

TEST(PersistentMisfire, WhoLosesItsWorkTwiceIsNotAccused) {
    PatternBench bench(engine_of({1, 3, 4, 2}), 1000.0);
    bench.track(20);
    PerPlace work = all_places(1.0);
    work[1] = work[3] = 0.0;
    CylinderLife<double> life;
    life.begin(4);
    for (int n = 0; n < 3; ++n)
        for (const int place : {1, 3}) life.weigh_loss(place, 12.0);
    EXPECT_EQ(named(bench.persistent.examine(bench.pattern(work), kSilent).missing), (std::vector<int>{1, 3}));
    EXPECT_EQ(named(bench.persistent.examine(bench.pattern(work), life).missing), std::vector<int>{});
}

TEST(PersistentMisfire, ThatACylinderNeverLosesItsWorkAccusesNoneAlone) {
    // Nor do most healthy ones ever; whatever the pattern holds of one, a quiet life changes nothing.
    CylinderLife<double> quiet;
    quiet.begin(4);
    for (int n = 0; n < 1000; ++n)
        for (int k = 0; k < 4; ++k) quiet.weigh_loss(k, -12.0);
    ASSERT_LT(quiet.losses(1), -1.0);
    PatternBench bench(engine_of({1, 3, 4, 2}), 1000.0);
    bench.track(400);
    int accused = 0;
    for (double left = 0.6; left > -0.01; left -= 0.02) {
        PerPlace work = all_places(1.0);
        work[1] = left;
        const auto silent = named(bench.persistent.examine(bench.pattern(work), kSilent).missing);
        EXPECT_EQ(named(bench.persistent.examine(bench.pattern(work), quiet).missing), silent) << left;
        accused += silent.empty() ? 0 : 1;
    }
    EXPECT_GT(accused, 0);
    EXPECT_LT(accused, 31);
}

/// The pattern of an engine that does `size` times the work that was guessed.
LearnedPattern<double> guessed(LearnedPattern<double> pattern, double size) {
    for (double& value : pattern.difference) value *= size;
    pattern.energy *= size;
    pattern.sized = false;
    return pattern;
}

TEST(PersistentMisfire, UnevenFiringTellsHowMuchWorkThereIs) {
    for (const double size : {0.5, 1.0, 4.0})
        for (const bool dead : {false, true}) {
            PatternBench bench(engine_of({1, 6, 5, 4, 3, 2}, {0, 90, 240, 330, 480, 570}));
            bench.track(20);
            PerPlace work = bench.healthy(0.03);
            if (dead) work[2] = 0.0;
            const double found = bench.persistent.work_size(guessed(bench.pattern(work), size), kSilent);
            EXPECT_GT(found, 0.6 * size) << size << dead;
            EXPECT_LT(found, 1.5 * size) << size << dead;
        }
}

TEST(PersistentMisfire, EvenFiringTellsNothingOfIt) {
    PatternBench bench(engine_of({1, 3, 4, 2}));
    bench.track(20);
    EXPECT_EQ(bench.persistent.work_size(guessed(bench.pattern(bench.healthy(0.03)), 4.0), kSilent), 1.0);
}

TEST(PersistentMisfire, FindsADeadCylinderThatHadFourTimesTheGuessedWorkToLose) {
    for (int dead = 0; dead < 4; ++dead) {
        PatternBench bench(engine_of({1, 3, 4, 2}));
        bench.track(20);
        PerPlace work = bench.healthy(0.02);
        work[static_cast<std::size_t>(dead)] = 0.0;
        const auto finding = bench.persistent.examine(guessed(bench.pattern(work), 4.0), kSilent);
        EXPECT_EQ(named(finding.missing), std::vector<int>{dead});
        PatternBench other(engine_of({1, 3, 4, 2}));
        other.track(20);
        EXPECT_TRUE(
            named(other.persistent.examine(guessed(other.pattern(other.healthy(0.02)), 4.0), kSilent).missing).empty());
    }
}

}  // namespace
}  // namespace kurbel::test
