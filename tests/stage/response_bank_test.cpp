// The bank of responses: sizes and signs, matching, learning from misfires, ringing on.
#include "kurbel/stage/response_bank.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "kurbel/stage/window_prior.hpp"
#include "stage/response_crank.hpp"

namespace kurbel::test {
namespace {

TEST(ResponseBank, ALostCombustionTakesItsWholeWork) {
    // Differences of energy over the window add up to what is missing afterwards: one whole work.
    for (const EngineConfig& engine : {engine_of({1}), engine_of({1, 3, 4, 2}), engine_of({1, 2, 4, 5, 3}),
                                       engine_of({1, 6, 5, 4, 3, 2}, {0, 100, 240, 340, 480, 580})}) {
        const Bank parts(engine);
        for (int k = 0; k < engine.cylinders; ++k) {
            double total = 0.0;
            double late = 0.0;
            for (int j = 0; j < parts.size; ++j) {
                const auto value = static_cast<double>(parts.bank.rigid(k)[static_cast<std::size_t>(j)]);
                total += value;
                // Nothing happens 240 degrees after TDC and later: blow-down is at 140.
                if ((j - parts.before) * parts.grid.bin_deg > 240.0) late += std::fabs(value);
            }
            EXPECT_NEAR(total, -1.0, 1e-5) << k;
            EXPECT_NEAR(late, 0.0, 1e-6) << k;
        }
    }
}

TEST(ResponseBank, RigidAndTwistedResponsesAreThoseOfFineSteps) {
    const Bank parts;
    const Window rigid = with_torsion(parts, 10.0, 0.0);
    for (int j = 0; j < parts.size; ++j)
        EXPECT_NEAR(parts.bank.rigid(0)[static_cast<std::size_t>(j)], rigid[static_cast<std::size_t>(j)], 0.01F) << j;
    for (const double per_rev : {5.0, 7.0}) {
        const Window both = with_torsion(parts, per_rev, 1.0);
        std::array<float, kMaxWindow> mode{};
        lost_combustion(CombustionWork(SliderCrank::of(parts.config.engine), 9.0), parts.grid.bin_deg, -parts.before,
                        parts.size, 0.0, per_rev, mode.data());
        for (int j = 0; j < parts.size; ++j) {
            const auto at = static_cast<std::size_t>(j);
            EXPECT_NEAR(mode[at], both[at] - rigid[at], 0.02F) << per_rev << ", " << j;
        }
    }
}

TEST(ResponseBank, TorsionShowsAtTheSensorsEnd) {
    // Seen from the front, the first mode's gain falls from the first throw to the last one and changes its sign behind the
    // node, which lies near the flywheel; seen from the flywheel, the other way about.
    const Bank front(engine_of({1, 3, 4, 2}), SensorAt::front);
    const Bank flywheel(engine_of({1, 3, 4, 2}), SensorAt::flywheel);
    const std::array<std::size_t, 4> place_of_throw{0, 3, 1, 2};
    for (std::size_t t = 0; t + 1 < 4; ++t) {
        const auto nearer = static_cast<int>(place_of_throw[t]);
        const auto further = static_cast<int>(place_of_throw[t + 1]);
        EXPECT_GT(front.bank.torsion_gain(nearer), front.bank.torsion_gain(further));
        EXPECT_LT(flywheel.bank.torsion_gain(nearer), flywheel.bank.torsion_gain(further));
    }
    EXPECT_GT(front.bank.torsion_gain(0), 0.5F);
    EXPECT_LT(flywheel.bank.torsion_gain(0), 0.0F);
}

TEST(ResponseBank, MatchesItsOwnResponseWithAmplitudeOne) {
    const Bank parts(engine_of({1, 2, 4, 5, 3}));
    for (int k = 0; k < 5; ++k) {
        Window x = parts.window_of(k);
        EXPECT_NEAR(parts.bank.match_whole(k, x).amplitude, 1.0F, 1e-5F);
        for (float& value : x) value *= -0.37F;
        EXPECT_NEAR(parts.bank.match_whole(k, x).amplitude, -0.37F, 1e-5F);
        EXPECT_NEAR(parts.bank.match_part(k, x, 0, parts.size / 2, parts.covariance).amplitude, -0.37F, 1e-5F);
        EXPECT_EQ(parts.bank.match_whole(k, x).precision, parts.bank.precision(k));
    }
}

TEST(ResponseBank, PrecisionIsThatOfGeneralisedLeastSquares) {
    // 1 / variance = g' C^-1 g (Gauss and Markov; any textbook on statistics), C white plus a slow torque.
    Bank parts;
    Window slow{};
    slow.fill(0.02F);
    parts.covariance.begin(parts.size);
    parts.covariance.add_prior_diagonal(0.0025F);
    parts.covariance.add_prior(slow, 1.0F);
    parts.covariance.end_prior();
    parts.match();
    Eigen::MatrixXd c = Eigen::MatrixXd::Constant(parts.size, parts.size, 0.0004);
    c.diagonal().array() += 0.0025 + static_cast<double>(parts.bank.doubt());
    Eigen::VectorXd g(parts.size);
    for (int j = 0; j < parts.size; ++j)
        g[j] = static_cast<double>(parts.bank.response(0)[static_cast<std::size_t>(j)]);
    const double exact = g.dot(c.llt().solve(g));
    EXPECT_NEAR(static_cast<double>(parts.bank.precision(0)), exact, 0.002 * exact);
    double former = 0.0;
    for (int length = parts.before + 1; length < parts.size; length += 3) {
        const double part = g.head(length).dot(c.topLeftCorner(length, length).llt().solve(g.head(length)));
        const auto given =
            static_cast<double>(parts.bank.match_part(0, parts.window_of(0), 0, length, parts.covariance).precision);
        EXPECT_NEAR(given, part, 0.002 * exact) << length;
        // Less of the window says less.
        EXPECT_GE(given, former);
        EXPECT_LE(given, static_cast<double>(parts.bank.precision(0)));
        former = given;
    }
    // And so does one that lacks its beginning.
    for (int from = 1; from <= parts.before; ++from) {
        const int count = parts.size - from;
        const double part = g.tail(count).dot(c.bottomRightCorner(count, count).llt().solve(g.tail(count)));
        const ResponseBank::Match match =
            parts.bank.match_part(0, parts.window_of(0), from, parts.size, parts.covariance);
        EXPECT_NEAR(static_cast<double>(match.precision), part, 0.002 * exact) << from;
        EXPECT_NEAR(match.amplitude, 1.0F, 1e-4F) << from;
        EXPECT_LE(match.precision, parts.bank.precision(0) * 1.001F);
    }
    EXPECT_LT(static_cast<double>(
                  parts.bank.match_part(0, parts.window_of(0), 0, parts.before + 1, parts.covariance).precision),
              0.9 * exact);
}

TEST(ResponseBank, LeakIsWhatANeighboursResponseReads) {
    const Bank parts;
    const int bins_a_firing = parts.grid.bins / 4;
    for (const int shift : {-2 * bins_a_firing, -bins_a_firing, bins_a_firing, 2 * bins_a_firing}) {
        Window x{};
        for (int j = 0; j < parts.size; ++j) {
            const int from = j - shift;
            if (from >= 0 && from < parts.bank.length())
                x[static_cast<std::size_t>(j)] = parts.bank.response(1)[static_cast<std::size_t>(from)];
        }
        EXPECT_NEAR(parts.bank.leak(0, 1, shift), parts.bank.match_whole(0, x).amplitude, 1e-5F) << shift;
    }
    EXPECT_NEAR(parts.bank.leak(0, 0, 0), 1.0F, 1e-5F);
}

TEST(ResponseBank, LearnsAResponseThatDeviates) {
    Bank parts;
    Response truth{};
    for (int j = 0; j < parts.bank.length(); ++j)
        truth[static_cast<std::size_t>(j)] =
            parts.bank.response(0)[static_cast<std::size_t>(j)] + 0.15F * std::sin(0.9F * static_cast<float>(j));
    float former = 1.0F;
    for (int misfires = 0; misfires < 150; ++misfires) {
        parts.bank.refine(misfires % 4, truth, parts.size, 1.0F, parts.covariance);
        if (misfires % 25 != 24) continue;
        parts.match();
        float worst = 0.0F;
        for (int j = 0; j < parts.size; ++j)
            worst = std::max(worst, std::fabs(parts.bank.response(0)[static_cast<std::size_t>(j)] -
                                              truth[static_cast<std::size_t>(j)]));
        EXPECT_LT(worst, former);
        former = worst;
    }
    EXPECT_LT(former, 0.01F);
    EXPECT_TRUE(parts.bank.experienced());
    // What is now known of the response is no doubt any more, but for how four places may differ by 0.03 each.
    EXPECT_NEAR(parts.bank.doubt(), 0.5F * 0.03F * 0.03F / 4.0F, 1e-5F);
    const auto bins = static_cast<float>(parts.grid.bin_deg / 24.0);
    EXPECT_NEAR(Bank().bank.doubt(), 0.5F * 0.05F * 0.05F * bins * bins, 1e-5F);
}

TEST(ResponseBank, OnePlaceMayDeviateAlone) {
    Bank parts;
    for (int n = 0; n < 400; ++n) {
        Response x = parts.bank.response(n % 4);
        for (int j = 0; j < parts.bank.length(); ++j) {
            const auto at = static_cast<std::size_t>(j);
            x[at] = (j < parts.size ? parts.bank.rigid(n % 4)[at] : 0.0F) + (n % 4 == 2 && j == 12 ? 0.2F : 0.0F);
        }
        parts.bank.refine(n % 4, x, parts.size, 1.0F, parts.covariance);
    }
    parts.match();
    EXPECT_NEAR(parts.bank.response(2)[12], parts.bank.rigid(2)[12] + 0.2F, 0.05F);
    EXPECT_NEAR(parts.bank.response(1)[12], parts.bank.rigid(1)[12], 0.05F);
}

TEST(ResponseBank, FewMisfiresOfLittleTrustChangeLittle) {
    Bank parts;
    const Response before = parts.bank.response(0);
    Response x = before;
    x[10] += 1.0F;
    parts.bank.refine(0, x, parts.size, 0.01F, parts.covariance);
    parts.match();
    EXPECT_NEAR(parts.bank.response(0)[10], before[10], 0.05F);
}

TEST(ResponseBank, AnotherSpeedForgetsWhatWasLearned) {
    Bank parts;
    for (int n = 0; n < 100; ++n)
        parts.bank.refine(n % 4, parts.bank.response(n % 4), parts.size, 1.0F, parts.covariance);
    ASSERT_TRUE(parts.bank.experienced());
    EXPECT_FALSE(parts.bank.set_speed(1520.0F));
    EXPECT_EQ(parts.bank.speed_rpm(), 1500.0F);
    EXPECT_TRUE(parts.bank.set_speed(1560.0F));
    EXPECT_TRUE(parts.bank.experienced());
    EXPECT_TRUE(parts.bank.set_speed(3000.0F));
    EXPECT_FALSE(parts.bank.experienced());
}

TEST(ResponseBank, IsAsMuchInDoubtOfALongBinAsOfTheShortOnesInIt) {
    Bank fine;
    const EngineConfig engine = engine_of({1, 3, 4, 2});
    WheelConfig wheel{};
    static_cast<void>(make_even_wheel(8, nullptr, 0, wheel));
    const CycleGrid coarse_grid = make_cycle_grid(engine, wheel);
    ResponseBank coarse;
    wheel.at = SensorAt::front;
    coarse.begin(engine, wheel, coarse_grid, -2, 12, 16);
    coarse.set_speed(1500.0F);
    coarse.compose(WindowCovariance{});
    ASSERT_GT(coarse_grid.bin_deg, 1.5 * fine.grid.bin_deg);
    const auto ratio = static_cast<float>(coarse_grid.bin_deg / fine.grid.bin_deg);
    EXPECT_NEAR(coarse.doubt() / fine.bank.doubt(), ratio * ratio, 0.05F * ratio * ratio);
}

TEST(ResponseBank, RingsOnAsTheCrankDoes) {
    // What misfires leave behind: a damped oscillation of known frequency and damping (per bin), in the bins that are known.
    // At this speed the slowest torsion mode that is looked for, 147 Hz, turns by 0.62 rad from one bin to the next.
    constexpr double kFast_rpm = 6000.0;
    for (const double omega : {0.7, 1.3, 2.2})
        for (const double damping : {0.02, 0.06}) {
            Bank parts(engine_of({1, 3, 4, 2}), SensorAt::front, kFast_rpm);
            const int known = parts.size + 4;
            const int from = parts.before + static_cast<int>(std::ceil(150.0 / parts.grid.bin_deg));
            const auto ringing = [&](int j) {
                return j < from ? 0.0 : 0.3 * std::exp(-damping * (j - from)) * std::cos(omega * (j - from) + 0.5);
            };
            std::mt19937_64 random(31);
            std::normal_distribution<double> noise(0.0, 0.02);
            for (int n = 0; n < 200; ++n) {
                Response x{};
                for (int j = 0; j < known; ++j) {
                    const auto at = static_cast<std::size_t>(j);
                    x[at] = (j < parts.size ? parts.bank.rigid(n % 4)[at] : 0.0F) +
                            static_cast<float>(ringing(j) + noise(random));
                }
                parts.bank.refine(n % 4, x, known, 1.0F, parts.covariance);
            }
            parts.match();
            const ResponseBank::Ringing& found = parts.bank.ringing();
            EXPECT_NEAR(static_cast<double>(found.a), 2.0 * std::exp(-damping) * std::cos(omega), 0.04)
                << omega << ", " << damping;
            EXPECT_NEAR(static_cast<double>(found.b), std::exp(-2.0 * damping), 0.04) << omega << ", " << damping;
            for (int k = 0; k < 4; ++k)
                for (int j = known; j < known + 10; ++j)
                    EXPECT_NEAR(static_cast<double>(parts.bank.response(k)[static_cast<std::size_t>(j)]), ringing(j),
                                0.05)
                        << omega << ", " << damping << ", bin " << j;
        }
}

TEST(ResponseBank, DoesNotRingSlowerThanACrankTwists) {
    Bank parts(engine_of({1, 3, 4, 2}), SensorAt::front, 6000.0);
    const int known = parts.size + 4;
    for (int n = 0; n < 200; ++n) {
        Response x{};
        for (int j = 0; j < known; ++j) x[static_cast<std::size_t>(j)] = 0.3F * std::cos(0.4F * static_cast<float>(j));
        parts.bank.refine(n % 4, x, known, 1.0F, parts.covariance);
    }
    parts.match();
    EXPECT_EQ(parts.bank.ringing().a, 0.0F);
    EXPECT_EQ(parts.bank.ringing().b, 0.0F);
}

TEST(ResponseBank, DoesNotRingWhereNothingTellsThatItDoes) {
    Bank parts;
    EXPECT_EQ(parts.bank.ringing().a, 0.0F);
    EXPECT_EQ(parts.bank.ringing().b, 0.0F);
    // Many misfires of a rigid crank leave noise behind, which no oscillation explains.
    std::mt19937_64 random(37);
    std::normal_distribution<double> noise(0.0, 0.05);
    const int known = parts.size + 4;
    for (int n = 0; n < 200; ++n) {
        Response x{};
        for (int j = 0; j < known; ++j) {
            const auto at = static_cast<std::size_t>(j);
            x[at] = (j < parts.size ? parts.bank.rigid(n % 4)[at] : 0.0F) + static_cast<float>(noise(random));
        }
        parts.bank.refine(n % 4, x, known, 1.0F, parts.covariance);
    }
    parts.match();
    EXPECT_EQ(parts.bank.ringing().b, 0.0F);
    for (int j = known; j < parts.bank.length(); ++j)
        EXPECT_NEAR(parts.bank.response(0)[static_cast<std::size_t>(j)], 0.0F, 1e-5F);
}

TEST(WindowPrior, HoldsEdgesSlowTorqueAndNeighbours) {
    // The variance of one bin, added up by hand: edges (1 + 4 + 1) e^2, slow torque 0.02^2, diagonal 4e-4, swing, and 0.1^2 of each
    // neighbour's response, averaged over the places in the middle.
    Bank parts;
    WindowCovariance prior;
    constexpr float kEdge = 0.03F;
    fill_window_prior(prior, parts.bank, parts.grid, kEdge);
    ASSERT_TRUE(prior.begun());
    ASSERT_EQ(prior.size(), parts.size);
    for (int j = 0; j < parts.size; ++j) {
        // The swing of the vehicle: a third of one firing's work over its interval, all of it where the speed is not known; its mean, and
        // its slope from one end of the window to the other.
        const double swing = 0.33 * 4.0 / parts.grid.bins;
        const double slope = 2.0 * swing * (static_cast<double>(j) / (parts.size - 1) - 0.5);
        double variance = 6.0 * 0.03 * 0.03 + 0.0004 + 0.0004 + swing * swing + slope * slope;
        for (int k = 0; k < 4; ++k)
            for (int firing = -8; firing <= 8; ++firing) {
                const int shift = firing * parts.grid.bins / 4;
                const int from = j - shift;
                if (firing == 0 || from < 0 || from >= parts.size) continue;
                const auto r =
                    static_cast<double>(parts.bank.response((k + firing + 8) % 4)[static_cast<std::size_t>(from)]);
                variance += 0.01 / 4.0 * r * r;
            }
        EXPECT_NEAR(static_cast<double>(prior.variance(j)), variance, 1e-3 * variance) << j;
    }
}

}  // namespace
}  // namespace kurbel::test
