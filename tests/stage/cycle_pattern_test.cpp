// The learned pattern of the healthy cycle against patterns that are known exactly.
#include "kurbel/stage/cycle_pattern.hpp"

#include <gtest/gtest.h>

#include <Eigen/Core>
#include <cmath>
#include <numbers>
#include <random>

namespace kurbel::test {
namespace {

constexpr int kBins = 40;
constexpr double kWork = 800.0;  // over inertia, rad^2/s^2

using Pattern = CyclePattern<double>;
using Point = PatternPoint<double>;
using Residual = std::array<double, kMaxBins>;

/// Torque of four cylinders, load and wheel error, all invented; each in the size that the priors think of.
struct Truth {
    bool load_counts = true;
    double resonance_rpm = 1e9;  ///< near it torsion lets more of the gas torque through

    [[nodiscard]] double at(int bin, const Point& point) const {
        const double angle = 2.0 * std::numbers::pi * bin / kBins;
        const double constant = 0.03 * kWork * std::cos(4.0 * angle + 0.4);
        const double near = point.energy / (0.5 * std::pow(resonance_rpm * std::numbers::pi / 30.0, 2.0));
        const double by_load = load_counts ? 0.3 * kWork * std::sin(4.0 * angle) / (1.0 - near) : 0.0;
        const double by_energy = 0.01 * std::sin(2.0 * angle + 1.0) + 0.01 * std::cos(8.0 * angle);
        return constant + by_load * point.load + by_energy * point.energy;
    }
};

double energy_at(double rpm) { return 0.5 * std::pow(rpm * std::numbers::pi / 30.0, 2.0); }

Residual residual_of(const Truth& truth, const Pattern& pattern, const Point& point) {
    Residual residual{};
    for (int b = 0; b < kBins; ++b) residual[static_cast<std::size_t>(b)] = truth.at(b, point) - pattern.at(b, point);
    return residual;
}

double worst_error(const Truth& truth, const Pattern& pattern, const Point& point) {
    double worst = 0.0;
    for (int b = 0; b < kBins; ++b) worst = std::fmax(worst, std::fabs(truth.at(b, point) - pattern.at(b, point)));
    return worst;
}

TEST(CyclePattern, LearnsConstantLoadAndEnergyTerms) {
    Pattern pattern;
    pattern.begin(kBins, true, kWork);
    const Truth truth;
    std::mt19937_64 random(3);
    std::uniform_real_distribution<double> load(0.2, 0.9);
    std::uniform_real_distribution<double> rpm(900.0, 3500.0);
    for (int n = 0; n < 300; ++n) {
        // Each point is held for some cycles, as what moves teaches little.
        const Point point{load(random), energy_at(rpm(random))};
        for (int held = 0; held < 4; ++held) pattern.learn(residual_of(truth, pattern, point), point);
    }
    EXPECT_EQ(pattern.cycles(), 1200);
    // Within the range of what was learned, and at its corners, to a thousandth of a firing's work.
    for (const double l : {0.2, 0.5, 0.9})
        for (const double r : {900.0, 2000.0, 3500.0})
            EXPECT_LT(worst_error(truth, pattern, {l, energy_at(r)}), 0.001 * kWork) << l << ", " << r;
}

TEST(CyclePattern, FollowsTheGasTorqueThroughTorsion) {
    // 1 / (1 - ratio^2) doubles what there is at 4000 rpm: any textbook on vibration.
    Truth truth;
    truth.resonance_rpm = 5660.0;
    Pattern pattern;
    pattern.begin(kBins, true, kWork);
    std::mt19937_64 random(5);
    std::uniform_real_distribution<double> load(0.2, 0.9);
    std::uniform_real_distribution<double> rpm(1000.0, 4000.0);
    for (int n = 0; n < 300; ++n) {
        const Point point{load(random), energy_at(rpm(random))};
        for (int held = 0; held < 4; ++held) pattern.learn(residual_of(truth, pattern, point), point);
    }
    // A sum of one line in load and one in energy misses that by several times as much.
    for (const double l : {0.2, 0.5, 0.9})
        for (const double r : {1000.0, 2500.0, 3500.0, 4000.0})
            EXPECT_LT(worst_error(truth, pattern, {l, energy_at(r)}), 0.02 * kWork) << l << ", " << r;
}

TEST(CyclePattern, ACorrectionStaysWhereThePatternIsNotKnown) {
    const Truth truth;
    Pattern pattern;
    pattern.begin(kBins, true, kWork);
    const Point known{0.8, energy_at(3000.0)};
    const Point unknown{0.2, energy_at(1500.0)};
    for (int n = 0; n < 100; ++n) pattern.learn(residual_of(truth, pattern, known), known);
    const Pattern before = pattern;
    Residual difference{};
    for (int b = 0; b < kBins; ++b) difference[static_cast<std::size_t>(b)] = 10.0 + b;
    pattern.correct(difference, unknown);
    for (int b = 0; b < kBins; ++b) {
        const double moved = b - 0.5 * (kBins - 1);  // its mean is in the trend
        EXPECT_NEAR(pattern.at(b, unknown) - before.at(b, unknown), moved, 1e-3) << b;
        EXPECT_NEAR(pattern.at(b, known) - before.at(b, known), 0.0, 0.05 * 0.25 * kBins)
            << b;  // of what both turns differ by
    }
}

TEST(CyclePattern, WhoeverMovesItLeavesItWithoutAMean) {
    const Truth truth;
    Pattern pattern;
    pattern.begin(kBins, true, kWork);
    const Point point{0.8, energy_at(3000.0)};
    for (int n = 0; n < 100; ++n) pattern.learn(residual_of(truth, pattern, point), point);
    const auto mean = [&pattern, &point] {
        double sum = 0.0;
        for (int b = 0; b < kBins; ++b) sum += pattern.at(b, point);
        return sum / kBins;
    };
    const double before = mean();
    // A cylinder that died: a whole work is taken from a third of the cycle.
    Residual lost{};
    for (int b = 0; b < kBins / 3; ++b) lost[static_cast<std::size_t>(b)] = -3.0 / kBins;
    pattern.shift(lost, {0.1 * kWork, kWork});
    EXPECT_NEAR(mean(), before, 1e-4 * kWork);
    pattern.correct(lost, point);
    EXPECT_NEAR(mean(), before, 1e-4 * kWork);
}

TEST(CyclePattern, WhatADeadCylinderLosesGoesWithTheWorkOnceItIsFound) {
    const Truth truth;
    Residual share{};
    double sum = 0.0;
    for (int b = 0; b < kBins; ++b) {
        share[static_cast<std::size_t>(b)] = kWork * std::exp(-0.1 * b) * std::sin(0.3 * b);
        sum += share[static_cast<std::size_t>(b)];
    }
    for (int b = 0; b < kBins; ++b) share[static_cast<std::size_t>(b)] -= sum / kBins;
    const WorkLine<double> line{-0.09, 1.0};
    const auto lost = [&](const Point& point, int b) {
        return share[static_cast<std::size_t>(b)] * (line.rest + line.by_load * point.load);
    };
    const auto learn = [&](Pattern& pattern, const Point& point) {
        Residual residual = residual_of(truth, pattern, point);
        for (int b = 0; b < kBins; ++b) residual[static_cast<std::size_t>(b)] += lost(point, b);
        pattern.learn(residual, point, line);
    };
    const auto worst = [&](const Pattern& pattern, const Pattern& healthy, const Point& point) {
        double most = 0.0;
        for (int b = 0; b < kBins; ++b)
            most = std::max(most, std::fabs(pattern.at(b, point) - healthy.at(b, point) - lost(point, b)));
        return most;
    };
    // All of it was learned where the engine worked hard; the pedal is let go, and the speed falls.
    const Point hard{0.7, energy_at(2500.0)};
    const Point light{0.2, energy_at(1500.0)};
    Pattern healthy;
    Pattern pattern;
    healthy.begin(kBins, true, kWork);
    pattern.begin(kBins, true, kWork);
    for (int n = 0; n < 12; ++n) {
        healthy.learn(residual_of(truth, healthy, hard), hard, line);
        learn(pattern, hard);
    }
    const Pattern before = pattern;
    EXPECT_LT(worst(pattern, healthy, hard), 0.02 * kWork);
    EXPECT_GT(worst(pattern, healthy, light), 0.03 * kWork) << "without that it is taken for anything";
    pattern.give_to_work(share, line);
    // Exactly as if the healthy engine had been learned, and the loss had been known: the filter is linear.
    EXPECT_LT(worst(pattern, healthy, hard), 1e-3 * kWork);
    EXPECT_LT(worst(pattern, healthy, light), 1e-3 * kWork);
    for (double& value : share) value = -value;
    pattern.give_to_work(share, line);
    for (int b = 0; b < kBins; ++b) EXPECT_NEAR(pattern.at(b, light), before.at(b, light), 1e-3 * kWork) << b;
}

TEST(CyclePattern, HalfOrdersGoWithTheWorkNotWithTheSpeed) {
    // What two turns of the crank do alike may be the wheel, which goes with speed squared; where they differ is the work of the cylinders.
    const auto predicted = [](bool differ) {
        Pattern pattern;
        pattern.begin(kBins, true, kWork);
        const Point here{0.3, energy_at(2000.0)};
        for (int n = 0; n < 20; ++n) {
            Residual residual{};
            for (int b = 0; b < kBins; ++b) {
                const double angle = 2.0 * std::numbers::pi * b / kBins;
                residual[static_cast<std::size_t>(b)] =
                    0.1 * kWork * std::sin((differ ? 1.0 : 2.0) * angle) - pattern.at(b, here);
            }
            pattern.learn(residual, here);
        }
        const int b = kBins / (differ ? 4 : 8);  // where it is largest
        struct {
            double faster, fuller;
        } at{pattern.at(b, {0.3, energy_at(2828.4)}) / pattern.at(b, here),
             pattern.at(b, {0.6, energy_at(2000.0)}) / pattern.at(b, here)};
        return at;
    };
    EXPECT_GT(predicted(true).fuller, 1.35);
    EXPECT_LT(predicted(true).faster, 1.4);
    EXPECT_LT(predicted(false).fuller, 1.1);
    EXPECT_NEAR(predicted(false).faster, 2.0, 0.2);
    // A two-stroke's cycle is one turn: its odd orders may be the wheel's.
    Pattern two_stroke;
    two_stroke.begin(kBins, true, kWork, {}, false, 1);
    const Point here{0.3, energy_at(2000.0)};
    Residual first{};
    for (int b = 0; b < kBins; ++b)
        first[static_cast<std::size_t>(b)] = 0.1 * kWork * std::sin(2.0 * std::numbers::pi * b / kBins);
    two_stroke.learn(first, here);
    EXPECT_GT(two_stroke.at(kBins / 4, {0.3, energy_at(2828.4)}), 1.8 * two_stroke.at(kBins / 4, here));
}

TEST(CyclePattern, ADieselsCompressionDoesNotGoWithTheFuel) {
    HealthyCycle healthy;
    healthy.compression[3] = 1.0F;
    healthy.combustion[5] = 1.0F;
    Pattern petrol;
    Pattern diesel;
    petrol.begin(kBins, true, kWork, healthy);
    diesel.begin(kBins, true, kWork, healthy, true);
    const auto at = [](const Pattern& pattern, int bin, double load) {
        return pattern.at(bin, {load, energy_at(800)});
    };
    const double full = kWork / 11.0;  // 1 bar over 11 bar of mean pressure
    EXPECT_NEAR(at(petrol, 3, 0.2), 0.2 * full, 1e-3);
    EXPECT_NEAR(at(diesel, 3, 0.2), full, 1e-3);
    EXPECT_NEAR(at(diesel, 3, 0.9), full, 1e-3);
    EXPECT_NEAR(at(petrol, 5, 0.59), 0.5 * kWork, 1e-3);
    EXPECT_NEAR(at(diesel, 5, 0.5), 0.5 * kWork, 1e-3);
}

TEST(CyclePattern, OneOperatingPointIsLearnedInAFewCycles) {
    Pattern pattern;
    pattern.begin(kBins, true, kWork);
    const Truth truth;
    const Point point{0.4, energy_at(2000.0)};
    pattern.learn(residual_of(truth, pattern, point), point);
    EXPECT_LT(worst_error(truth, pattern, point), 0.05 * kWork);
    for (int n = 0; n < 9; ++n) pattern.learn(residual_of(truth, pattern, point), point);
    EXPECT_LT(worst_error(truth, pattern, point), 0.005 * kWork);
}

TEST(CyclePattern, WithoutALoadChannelTheConstantHoldsThePattern) {
    Pattern pattern;
    pattern.begin(kBins, false, kWork);
    Truth truth;
    truth.load_counts = false;
    std::mt19937_64 random(3);
    std::uniform_real_distribution<double> rpm(900.0, 3500.0);
    for (int n = 0; n < 100; ++n) {
        const Point point{0.0, energy_at(rpm(random))};
        pattern.learn(residual_of(truth, pattern, point), point);
    }
    EXPECT_LT(worst_error(truth, pattern, {0.0, energy_at(1500.0)}), 0.001 * kWork);
    // No load term was learned.
    for (int b = 0; b < kBins; ++b)
        EXPECT_EQ(pattern.at(b, {1.0, energy_at(1500.0)}), pattern.at(b, {0.0, energy_at(1500.0)}));
}

TEST(CyclePattern, TakesOutWhatItHoldsOverARunOfBins) {
    Pattern pattern;
    pattern.begin(kBins, true, kWork);
    const Point point{0.4, energy_at(2000.0)};
    const Truth truth;
    for (int n = 0; n < 5; ++n) pattern.learn(residual_of(truth, pattern, point), point);
    std::array<float, 6> load{};
    std::array<float, 6> energy{};
    std::array<float, 6> measured{};
    std::array<float, 6> value{};
    for (std::size_t i = 0; i < 6; ++i) {
        load[i] = 0.1F * static_cast<float>(i);
        energy[i] = 20000.0F + 100.0F * static_cast<float>(i);
        measured[i] = 500.0F;
    }
    constexpr float kTrend = 20.0F;
    pattern.take_out(31, 6, load.data(), energy.data(), measured.data(), kTrend, value.data());
    for (int i = 0; i < 6; ++i) {
        const auto at = static_cast<std::size_t>(i);
        const Point here{static_cast<double>(load[at]), static_cast<double>(energy[at])};
        EXPECT_NEAR(static_cast<double>(value[at]), 480.0 - pattern.at(31 + i, here), 1e-3);
    }
    Residual whole{};
    pattern.whole(point, whole);
    for (int b = 0; b < kBins; ++b) EXPECT_EQ(whole[static_cast<std::size_t>(b)], pattern.at(b, point));
}

TEST(CyclePattern, DoubtFallsAsTheNumberOfLikeCyclesGrows) {
    Pattern pattern;
    pattern.begin(kBins, true, kWork);
    const Truth truth;
    const Point point{0.4, energy_at(2000.0)};
    EXPECT_EQ(pattern.doubt(point), 1.0);
    std::mt19937_64 random(17);
    std::normal_distribution<double> noise(0.0, 0.03 * kWork);
    for (int n = 1; n <= 1000; ++n) {
        Residual residual = residual_of(truth, pattern, point);
        for (int b = 0; b < kBins; ++b) residual[static_cast<std::size_t>(b)] += noise(random);
        pattern.learn(residual, point);
        // The first cycles alone do not tell the noise well.
        if (n == 8 || n == 16 || n == 32) {
            EXPECT_GT(pattern.doubt(point), 0.6 / n) << n;
            EXPECT_LT(pattern.doubt(point), 1.6 / n) << n;
        }
    }
    EXPECT_NEAR(std::sqrt(pattern.noise()), 0.03 * kWork, 0.003 * kWork);
    // In the long run the coefficients drift as fast as they are learned, and none is less known than at the start: the Riccati
    // recursion, written down anew with the true noise, of what repeats with every turn and of half orders.
    const Eigen::Vector3d x(1.0, point.load, point.energy);
    const Eigen::Vector3d share = Eigen::Vector3d(0.003, 0.012, 0.0003).cwiseAbs2();
    const double variance = std::pow(0.03 * kWork, 2.0);
    const auto settled = [&](const Eigen::Vector3d& deviation) {
        const Eigen::Vector3d prior = deviation.cwiseAbs2();
        Eigen::Matrix3d covariance = prior.asDiagonal();
        for (int n = 0; n < 1000; ++n) {
            const Eigen::Vector3d gain = covariance * x / (x.dot(covariance * x) + variance);
            covariance -= gain * (covariance * x).transpose();
            covariance.diagonal() = (covariance.diagonal() + share.cwiseProduct(prior)).cwiseMin(prior);
        }
        return x.dot(covariance * x) / variance;
    };
    const double both =
        0.5 * (settled({0.05 * kWork, 0.1 * kWork, 0.03}) + settled({0.05 * kWork, 0.2 * kWork, 0.002}));
    EXPECT_NEAR(pattern.doubt(point), both, 0.25 * both);
    // Where the engine has never been, the doubt is larger.
    EXPECT_GT(pattern.doubt({0.9, energy_at(3500.0)}), 5.0 * pattern.doubt(point));
}

TEST(CyclePattern, DoubtIsTheScatterOfWhatWasLearned) {
    // Many engines that learn the same pattern with other noise: their spread is what each of them expects.
    constexpr int kEngines = 200;
    constexpr int kCycles = 20;
    const Point point{0.4, energy_at(2000.0)};
    const Truth truth;
    std::mt19937_64 random(23);
    std::normal_distribution<double> noise(0.0, 0.03 * kWork);
    double square = 0.0;
    double expected = 0.0;
    for (int e = 0; e < kEngines; ++e) {
        Pattern pattern;
        pattern.begin(kBins, true, kWork);
        for (int n = 0; n < kCycles; ++n) {
            Residual residual = residual_of(truth, pattern, point);
            for (int b = 0; b < kBins; ++b) residual[static_cast<std::size_t>(b)] += noise(random);
            pattern.learn(residual, point);
        }
        for (int b = 0; b < kBins; ++b)
            square += std::pow((truth.at(b, point) - pattern.at(b, point)) / (0.03 * kWork), 2.0);
        expected += pattern.doubt(point);
    }
    const double seen = square / (kEngines * kBins);
    EXPECT_GT(seen, 1.0 / kCycles);
    EXPECT_NEAR(expected / kEngines, seen, 0.4 * seen);
}

TEST(CyclePattern, WhatIsStillToBeLearnedIsNoNoise) {
    // Learned at one load, then at another, where the pattern is another: its scatter is what it was.
    constexpr double kNoise = 0.02 * kWork;
    std::mt19937_64 random(29);
    std::normal_distribution<double> noise(0.0, kNoise);
    Pattern pattern;
    pattern.begin(kBins, true, kWork);
    const Truth truth;
    for (int n = 0; n < 120; ++n) {
        const Point point{n < 100 ? 0.2 : 0.9, energy_at(2000.0)};
        Residual residual = residual_of(truth, pattern, point);
        for (int b = 0; b < kBins; ++b) residual[static_cast<std::size_t>(b)] += noise(random);
        pattern.learn(residual, point);
    }
    EXPECT_GT(pattern.noise(), 0.7 * kNoise * kNoise);
    EXPECT_LT(pattern.noise(), 1.5 * kNoise * kNoise);
}

TEST(CyclePattern, ACycleInWhichTheLoadMovesTeachesLess) {
    // The same deviation after the same cycles, once at the load of the cycle before and once 10 % of full load from it.
    const auto learned = [](double load) {
        Pattern pattern;
        pattern.begin(kBins, true, kWork);
        std::mt19937_64 random(29);
        std::normal_distribution<double> noise(0.0, 0.03 * kWork);
        Residual residual{};
        for (int n = 0; n < 50; ++n) {
            for (int b = 0; b < kBins; ++b) residual[static_cast<std::size_t>(b)] = noise(random);
            pattern.learn(residual, {0.4, energy_at(2000.0)});
        }
        const Point point{load, energy_at(2000.0)};
        const double before = pattern.at(3, point);
        residual.fill(0.0);
        residual[3] = 0.2 * kWork;
        pattern.learn(residual, point);
        return (pattern.at(3, point) - before) / (0.2 * kWork) / pattern.doubt(point);
    };
    EXPECT_LT(learned(0.5), 0.3 * learned(0.4));
    EXPECT_GT(learned(0.5), 0.0);
}

TEST(CyclePattern, DoubtsItselfByAsMuchAsItWasOffLately) {
    // Long known at one speed; then cycles at another that are off by what the filter expects there, or by five times that.
    const auto adapted = [](double times) {
        Pattern pattern;
        pattern.begin(kBins, true, kWork);
        std::mt19937_64 random(31);
        std::normal_distribution<double> normal(0.0, 0.03 * kWork);
        Residual residual{};
        const auto learn = [&](const Point& point, double deviation) {
            for (int b = 0; b < kBins; ++b) residual[static_cast<std::size_t>(b)] = deviation * normal(random);
            pattern.learn(residual, point);
        };
        for (int n = 0; n < 300; ++n) learn({0.4, energy_at(2000.0)}, 1.0);
        EXPECT_LT(pattern.adapted_doubt({0.4, energy_at(2000.0)}), 1.3 * pattern.doubt({0.4, energy_at(2000.0)}));
        for (int n = 0; n < 3; ++n) {
            const Point there{0.4, energy_at(4500.0)};
            learn(there, times * std::sqrt(1.0 + pattern.doubt(there)));
        }
        const Point there{0.4, energy_at(5000.0)};
        return pattern.adapted_doubt(there) / pattern.doubt(there);
    };
    EXPECT_LT(adapted(1.0), 2.0);
    EXPECT_GT(adapted(5.0), 5.0);
    EXPECT_GE(adapted(0.2), 1.0);
}

TEST(CyclePattern, KeepsNumbersWhereNothingScatters) {
    // Edges to a timer's tick of a crank that turns evenly: no noise at all.
    CyclePattern<float> pattern;
    pattern.begin(kBins, true, static_cast<float>(kWork));
    const PatternPoint<float> point{0.4F, static_cast<float>(energy_at(1000.0))};
    std::array<float, kMaxBins> residual{};
    for (int n = 0; n < 300; ++n) {
        if (n == 200) residual[5] = static_cast<float>(kWork);
        pattern.learn(residual, point);
        ASSERT_TRUE(std::isfinite(pattern.adapted_doubt(point)) && pattern.adapted_doubt(point) >= 0.0F) << n;
    }
}

TEST(CyclePattern, TurnsByHalfACycle) {
    Pattern pattern;
    pattern.begin(kBins, true, kWork);
    std::mt19937_64 random(29);
    std::normal_distribution<double> any(0.0, 100.0);
    for (const double load : {0.2, 0.8}) {
        Residual residual{};
        for (int b = 0; b < kBins; ++b) residual[static_cast<std::size_t>(b)] = any(random);
        pattern.learn(residual, {load, energy_at(1000.0 + 2000.0 * load)});
    }
    const Pattern before = pattern;
    pattern.turn();
    const Point point{0.7, energy_at(1700.0)};
    for (int b = 0; b < kBins; ++b) EXPECT_EQ(pattern.at(b, point), before.at((b + kBins / 2) % kBins, point)) << b;
    EXPECT_NE(pattern.at(0, point), before.at(0, point));
    pattern.turn();
    for (int b = 0; b < kBins; ++b) EXPECT_EQ(pattern.at(b, point), before.at(b, point)) << b;
}

}  // namespace
}  // namespace kurbel::test
