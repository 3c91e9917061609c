// Whether the probability that is told is the one that follows from its model, and comes true.
// Numbers "by SciPy" come from scipy.stats 1.10.1: t, norm, binom.
#include "kurbel/stage/misfire_odds.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>
#include <utility>
#include <vector>

#include "kurbel/study/binomial.hpp"

namespace kurbel::test {
namespace {

using Odds = MisfireOdds<double>;
constexpr double kDeviation = 0.15;

class MisfireOddsTest : public testing::Test {
  protected:
    void SetUp() override {
        scatter_.begin(4);
        odds_.begin(4);
    }
    /// Asks of a firing and teaches it.
    double take(int place, double lost, bool dead = false) {
        const Odds::Seen seen{place, dead, lost, 0.0, kDeviation, kDeviation};
        const double p = odds_.probability(seen, scatter_);
        odds_.learn(seen, scatter_, p, {});
        return p;
    }
    /// Asks of it, and nothing stays of that.
    [[nodiscard]] double ask(int place, double lost, bool dead = false) const {
        Odds copy = odds_;
        return copy.probability({place, dead, lost, 0.0, kDeviation, kDeviation}, scatter_);
    }

    /// What is told of a loss elsewhere and right after a misfire, where firings right after one scatter by `times` as much as others.
    [[nodiscard]] std::pair<double, double> elsewhere_and_after(double times, unsigned seed) {
        std::mt19937_64 random(seed);
        std::normal_distribution<double> normal(0.0, kDeviation);
        // Misfires are measured no better than healthy firings.
        for (int n = 0; n < 4000; ++n)
            take(n % 4, (n % 20 == 0 ? 1.0 : 0.0) + (n % 20 == 1 ? times : 1.0) * normal(random));
        take(0, 1.0);
        const double after = ask(1, 0.6);
        // A cycle later all that is learned is still the same.
        for (int n = 1; n <= 4; ++n) take(n % 4, 0.0);
        return {ask(1, 0.6), after};
    }

    HealthyScatter<double> scatter_{};
    Odds odds_{};
};

TEST_F(MisfireOddsTest, FollowsFromItsDensities) {
    // By SciPy: t with 30 degrees of freedom, bent by 0.03 on the loss side, against a half-and-half mixture of norm(1, 0.18) and a
    // share from 0.5 to 1.2 blurred by 0.18, beyond the middle of both as there, each with its little of anything; one firing in fifty
    // is a misfire.
    constexpr std::array<std::pair<double, double>, 8> kByScipy{{{-0.3, 2.7699845602972886e-07},
                                                                 {0.0, 1.564749970034565e-05},
                                                                 {0.3, 0.004732284526913875},
                                                                 {0.45, 0.08135935844337461},
                                                                 {0.6, 0.5973412124253538},
                                                                 {0.8, 0.9829179018975236},
                                                                 {1.0, 0.9992149433339158},
                                                                 {1.3, 0.999895858717031}}};
    for (const auto& [lost, p] : kByScipy) EXPECT_NEAR(ask(2, lost), p, 1e-5 * p) << lost;
}

TEST_F(MisfireOddsTest, WeakBurnsFollowFromTheDensityOfHealthyReadings) {
    // By SciPy: 0.85 of half of the variance of 0.15 is measurement's; the slope of norm's logarithm, bent; norm(0, 0.15), bent, over the
    // density of healthy readings, no farther out than half; half of the work reads as 0.43, give or take 0.06 and 0.15 of that.
    constexpr std::array<std::pair<double, double>, 4> kByScipy{{{0.3, 0.018743955787987134},
                                                                 {0.45, 0.10113193180797433},
                                                                 {0.6, 0.34652402566929347},
                                                                 {0.8, 0.6984343261074077}}};
    for (const auto& [lost, weak] : kByScipy) {
        Odds copy = odds_;
        const Odds::Seen seen{2, false, lost, 0.0, kDeviation, kDeviation};
        static_cast<void>(copy.probability(seen, scatter_));
        EXPECT_NEAR(copy.weak_burn(seen, scatter_), weak, 1e-5 * weak) << lost;
    }
}

TEST_F(MisfireOddsTest, WhatIsMeasuredHardlyAtAllTellsNothing) {
    // A deviation of ten works: any loss of up to one is about as likely of a misfire as of a healthy firing.
    for (const double lost : {-1.0, 0.0, 0.5, 1.0}) {
        Odds copy = odds_;
        EXPECT_NEAR(copy.probability({1, false, lost, 0.0, 10.0, 10.0}, scatter_), 0.02, 0.003) << lost;
    }
}

TEST_F(MisfireOddsTest, ComesTrueWhereTheEngineIsAsTheModelHasIt) {
    // Healthy firings of Student's t, misfires of all the work or any share, one cylinder at 5 %, the others at 0.5 %: firings told
    // from 0.02 to 0.98 are misfires as often as told, within the exact interval at 99 %.
    std::mt19937_64 random(11);
    std::student_t_distribution<double> healthy(30.0);
    std::normal_distribution<double> normal(0.0, 1.0);
    std::uniform_real_distribution<double> uniform(0.0, 1.0);
    BentNormal<double> bent;
    bent.bend = 0.03;
    constexpr std::array<double, 6> kBounds{0.02, 0.1, 0.3, 0.7, 0.9, 0.98};
    std::array<double, 5> told{};
    std::array<std::int64_t, 5> lost{};
    std::array<std::int64_t, 5> of{};
    for (int n = 0; n < 400000; ++n) {
        const int place = n % 4;
        const bool misfire = uniform(random) < (place == 1 ? 0.05 : 0.005);
        double share = kDeviation * bent.from_normal(healthy(random));
        if (misfire)
            share = uniform(random) < 0.5 ? 1.0 + 0.1 * normal(random) + kDeviation * normal(random)
                                          : 0.5 + 0.7 * uniform(random) + kDeviation * normal(random);
        const double p = take(place, share);
        for (std::size_t b = 0; b < told.size(); ++b) {
            if (p < kBounds[b] || p >= kBounds[b + 1]) continue;
            told[b] += p;
            ++of[b];
            lost[b] += misfire ? 1 : 0;
        }
    }
    for (std::size_t b = 0; b < told.size(); ++b) {
        ASSERT_GT(of[b], 300);
        const Interval interval = exact_interval(lost[b], of[b], 0.99);
        // What is learned while it runs is off by a little: a twentieth of the way to certainty and back.
        const double mean = told[b] / static_cast<double>(of[b]);
        const double room = 0.05 * std::fmin(mean, 1.0 - mean);
        EXPECT_GE(mean, interval.low - room) << kBounds[b];
        EXPECT_LE(mean, interval.high + room) << kBounds[b];
    }
}

TEST_F(MisfireOddsTest, WeakBurnsComeTrueWhereCombustionScattersMuch) {
    // A cold engine: combustion scatters by 0.2 of the work and measurement by 0.08, as misfires show, of which one firing in fifty is
    // one. From engine to engine a weak burn that lost half reads as 0.43 of a whole loss, give or take 0.06. Of the firings that burned
    // so many lost half as was told, or up to a third more: deviations might differ from window to window, which they do not here.
    std::mt19937_64 random(14);
    std::normal_distribution<double> normal(0.0, 1.0);
    constexpr std::array<double, 5> kBounds{0.02, 0.1, 0.3, 0.6, 1.0};
    std::array<double, 4> told{};
    std::array<double, 4> weak{};
    for (int engine = 0; engine < 60; ++engine) {
        SetUp();
        const double half = 0.43 + 0.06 * normal(random);
        for (int n = 0; n < 12000; ++n) {
            const bool misfire = n % 50 == 7;
            const double loss = misfire ? 1.0 : 0.2 * normal(random);
            const double deviation = scatter_.deviation(n % 4);
            const Odds::Seen seen{n % 4,     false,    loss + 0.08 * normal(random), scatter_.mean(n % 4),
                                  deviation, deviation};
            const double p = odds_.probability(seen, scatter_);
            const double w = odds_.weak_burn(seen, scatter_);
            odds_.learn(seen, scatter_, p, {});
            scatter_.learn(n % 4, seen.lost, 0.0, 1.0 - p);
            if (n < 2000 || misfire) continue;
            for (std::size_t b = 0; b < told.size(); ++b) {
                if (w < kBounds[b] || w >= kBounds[b + 1]) continue;
                told[b] += w;
                weak[b] += loss > half ? 1.0 : 0.0;
            }
        }
    }
    for (std::size_t b = 0; b < told.size(); ++b) {
        ASSERT_GT(told[b], 100.0);
        EXPECT_GT(weak[b] / told[b], 0.9) << kBounds[b];
        EXPECT_LT(weak[b] / told[b], 1.35) << kBounds[b];
    }
}

TEST_F(MisfireOddsTest, NoWeakBurnWhereNoneScattersSo) {
    const auto weak = [this](double lost, double deviation) {
        const Odds::Seen seen{1, false, lost, 0.0, deviation, deviation};
        static_cast<void>(odds_.probability(seen, scatter_));
        return odds_.weak_burn(seen, scatter_);
    };
    // Nothing lost, or half where combustion hardly scatters.
    EXPECT_EQ(weak(0.0, 0.2), 0.0);
    EXPECT_LT(weak(0.5, 0.04), 1e-6);
    // Where readings of half are beyond what combustion explains, so are those of more: a false edge, a clutch.
    EXPECT_LT(weak(30.0, 0.06), 0.05);
    // Measured ten times worse than usual: a loss is the measurement's.
    const Odds::Seen blurred{1, false, 2.2, 0.0, 2.0, 0.2};
    static_cast<void>(odds_.probability(blurred, scatter_));
    EXPECT_LT(odds_.weak_burn(blurred, scatter_), 0.1);
    EXPECT_GT(weak(0.6, 0.2), 0.2);
}

TEST_F(MisfireOddsTest, WhoReadsAsMoreIsMoreLikelyWeak) {
    // Before any misfire, and where a hundred have shown what a whole loss reads as.
    for (const int misfires : {0, 100}) {
        SetUp();
        for (int n = 0; n < misfires; ++n) take(n % 4, 0.7 + 0.03 * (n % 5 - 2));
        for (const double deviation : {0.05, 0.1, 0.15, 0.3})
            for (const double mean : {-0.1, 0.0, 0.1}) {
                double former = 0.0;
                for (int step = -100; step <= 300; ++step) {
                    const Odds::Seen seen{1, false, 0.01 * step, mean, deviation, std::fmin(deviation, 0.12)};
                    Odds copy = odds_;
                    const double p = copy.probability(seen, scatter_);
                    const double either = p + (1.0 - p) * copy.weak_burn(seen, scatter_);
                    // A gain beyond what healthy firings do says a little less for "healthy": one in a hundred thousand.
                    EXPECT_GE(either, former - (seen.lost < mean ? 1e-5 : 1e-12))
                        << misfires << ", " << deviation << ", " << mean << ", " << step;
                    former = either;
                }
            }
    }
}

TEST_F(MisfireOddsTest, LearnsHowTheCrankRingsAfterAMisfire) {
    // Firings right after a misfire scatter twice as far: a loss there says less than elsewhere.
    const auto [elsewhere, after] = elsewhere_and_after(2.0, 12);
    EXPECT_LT(after, 0.25 * elsewhere);
    EXPECT_GT(after, 0.0);
}

TEST_F(MisfireOddsTest, NoFiringIsMeasuredBetterAfterAMisfireThanElsewhere) {
    // They scatter half as far there, for as long as one likes: by chance, for nothing makes a crank calmer that has just rung.
    const auto [elsewhere, after] = elsewhere_and_after(0.5, 13);
    EXPECT_NEAR(after, elsewhere, 0.1 * elsewhere);
}

TEST_F(MisfireOddsTest, BelievesLessWhereAllScatter) {
    // A gear change: for two cycles firings lie two and a half deviations to this side and that, none of them a misfire.
    // For long enough that the rate of misfires does not fall any more.
    for (int n = 0; n < 8000; ++n) take(n % 4, n % 2 == 0 ? 0.1 : -0.1);
    const double calm = ask(0, 0.6);
    for (int n = 0; n < 8; ++n) take(n % 4, n % 2 == 0 ? 2.5 * kDeviation : -2.5 * kDeviation);
    EXPECT_LT(ask(0, 0.6), 0.2 * calm);
    // It passes.
    for (int n = 0; n < 60; ++n) take(n % 4, n % 2 == 0 ? 0.1 : -0.1);
    EXPECT_GT(ask(0, 0.6), 0.8 * calm);
}

TEST_F(MisfireOddsTest, LearnsWhatAWholeLossReadsAs) {
    // A cold engine of which twice too much is expected: all that is lost reads as half.
    const double before = ask(1, 0.42);
    std::mt19937_64 random(13);
    std::normal_distribution<double> normal(0.0, 0.05);
    for (int n = 0; n < 2000; ++n) take(n % 4, (n % 11 == 0 ? 0.5 : 0.0) + normal(random));
    EXPECT_LT(before, 0.05);
    EXPECT_GT(ask(1, 0.42), 0.5);
}

TEST_F(MisfireOddsTest, ADeadCylinderIsDoubtedUntilItShows) {
    // Held to be dead: even odds at first. One that goes on firing is not believed to be dead for long.
    EXPECT_NEAR(ask(3, 0.5, true) / (1.0 - ask(3, 0.5, true)) / (ask(3, 0.5) / (1.0 - ask(3, 0.5))), 49.0, 1e-6);
    const double even = ask(3, 0.0, true);
    for (int n = 0; n < 400; ++n) take(3, 0.0, true);
    EXPECT_LT(ask(3, 0.0, true), 0.1 * even);
    // Its own history as a working cylinder begins anew.
    take(3, 0.0);
    EXPECT_NEAR(ask(3, 0.5), ask(2, 0.5), 0.01);
}

TEST_F(MisfireOddsTest, WhatAllCylindersDoIsExpectedOfOne) {
    const auto odds_of = [this](int place) { return ask(place, 0.5) / (1.0 - ask(place, 0.5)); };
    const auto take_all = [this](int cycles, double lost_by_one) {
        for (int n = 0; n < cycles; ++n)
            for (int place = 0; place < 3; ++place) take(place, place == 0 && n % 5 == 0 ? lost_by_one : 0.0);
    };
    const double first = odds_of(3);
    // Three cylinders that fire for twenty cycles: sixty firings against the forty of each of four that the first guess is worth.
    take_all(20, 0.0);
    EXPECT_NEAR(odds_of(3) / first, 160.0 / 220.0, 0.02);
    // One of them misfires in one cycle of five: of all, that is one firing in fifteen. Who has fired two hundred times keeps a sixth of it.
    SetUp();
    take_all(200, 1.0);
    const double all = (600.0 / 15.0 + 160.0 * 0.02) / 760.0;
    const auto odds = [](double share) { return share / (1.0 - share); };
    EXPECT_NEAR(odds_of(3) / odds_of(1), odds(all) / odds(all / 6.0), 0.1);
    EXPECT_NEAR(odds_of(0) / odds_of(3), odds((200.0 * 0.2 + 40.0 * all) / 240.0) / odds(all), 0.1);
    // Once their own history is long, it is no longer what another one does that counts.
    take_all(1500, 1.0);
    EXPECT_LT(odds_of(1), 0.02 * odds_of(3));
}

TEST_F(MisfireOddsTest, IsNeverOutsideZeroToOne) {
    for (const double lost : {-1e6, -30.0, -2.0, 0.0, 2.0, 30.0, 1e6})
        for (const bool dead : {false, true}) {
            const double p = take(0, lost, dead);
            EXPECT_GE(p, 0.0) << lost;
            EXPECT_LE(p, 1.0) << lost;
            const double weak = odds_.weak_burn({0, dead, lost, 0.0, kDeviation, kDeviation}, scatter_);
            EXPECT_GE(weak, 0.0) << lost;
            EXPECT_LE(weak, 1.0) << lost;
        }
    MisfireOdds<float> small;
    small.begin(4);
    HealthyScatter<float> scatter;
    scatter.begin(4);
    for (const float lost : {-1e6F, -30.0F, 0.0F, 1.0F, 30.0F, 1e6F}) {
        const float p = small.probability({0, false, lost, 0.0F, 0.02F}, scatter);
        EXPECT_GE(p, 0.0F) << lost;
        EXPECT_LE(p, 1.0F) << lost;
    }
}

}  // namespace
}  // namespace kurbel::test
