// The second witness of the firing revolution: made-up steps whose variation is put where it belongs, or elsewhere.
#include "kurbel/stage/scatter_phase.hpp"

#include <gtest/gtest.h>

#include <type_traits>

#include "kurbel/simulate/random.hpp"
#include "simulate/engines.hpp"

namespace kurbel {
namespace {

constexpr int kBins = 30;

Config five(SensorAt at = SensorAt::front) {
    Config config;
    config.engine = simulate::test::inline_engine({1, 2, 4, 5, 3}).engine;
    config.crank_wheel.at = at;
    return config;
}

/// What varies from one cycle to the next.
struct Variation {
    double scatter = 0.0;  ///< standard deviation of each firing's work
    double lost = 0.0;     ///< share of firings without work
    double edges = 0.0;    ///< standard deviation of each bin's energy
    double offset_deg = 35.0;
};

/// Feeds `cycles` cycles of five pulses of work, one a cylinder, each spread over two and a half bins or so.
void feed(ScatterPhase<double>& phase, int cycles, double speed_rpm, const Variation& variation, std::uint64_t seed) {
    simulate::Random random(seed, 7);
    std::array<double, kBins> before{};
    double edge = 0.0;
    for (int cycle = 0; cycle <= cycles; ++cycle) {
        std::array<double, kBins> step{};
        for (int firing = 0; firing < 5; ++firing) {
            const double work = random.uniform() < variation.lost ? 0.0 : 1.0 + variation.scatter * random.normal();
            const double centre = (144.0 * firing + variation.offset_deg) / 24.0;
            for (int b = 0; b < kBins; ++b) {
                double off = b - centre;
                off -= kBins * std::round(off / kBins);
                step[static_cast<std::size_t>(b)] += work * std::exp(-0.5 * off * off);
            }
        }
        for (int b = 0; b < kBins; ++b) {
            const auto at = static_cast<std::size_t>(b);
            const double next = variation.edges * random.normal();
            step[at] += next - edge;
            edge = next;
            if (cycle > 0) phase.push(b, step[at] - before[at], speed_rpm);
        }
        before = step;
    }
}

double odds(const Config& config, double speed_rpm, const Variation& variation, int cycles = 400,
            std::uint64_t seed = 3) {
    ScatterPhase<double> phase;
    phase.configure(config, kBins);
    feed(phase, cycles, speed_rpm, variation, seed);
    return phase.log_odds();
}

TEST(ScatterPhase, ScatterBehindFiringTdcsSpeaksForThem) {
    const Variation right{0.05, 0.0, 0.0, 35.0};
    const Variation wrong{0.05, 0.0, 0.0, 35.0 + 360.0};
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        EXPECT_GT(odds(five(), 2500.0, right, 400, seed), 14.0);
        EXPECT_LT(odds(five(), 2500.0, wrong, 400, seed), -14.0);
    }
}

TEST(ScatterPhase, SingleLossesTellWhereSquaresCannot) {
    // At 6000 rpm no order above 0.9 is safe from torsion, and squares would need 1.25.
    const Variation scatter{0.05, 0.0, 0.0, 35.0};
    const Variation right{0.05, 0.03, 0.0, 35.0};
    const Variation wrong{0.05, 0.03, 0.0, 35.0 + 360.0};
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        EXPECT_LT(std::fabs(odds(five(), 6000.0, scatter, 400, seed)), 10.0);
        EXPECT_GT(odds(five(), 6000.0, right, 800, seed), 14.0);
        EXPECT_LT(odds(five(), 6000.0, wrong, 800, seed), -14.0);
    }
}

TEST(ScatterPhase, EdgeNoiseAndVariationBetweenSpeakForNeither) {
    for (std::uint64_t seed = 1; seed <= 200; ++seed) {
        EXPECT_LT(std::fabs(odds(five(), 2500.0, {0.0, 0.0, 1.0, 35.0}, 200, seed)), 12.0) << seed;
        EXPECT_LT(std::fabs(odds(five(), 2500.0, {0.05, 0.0, 0.0, 35.0 + 36.0}, 100, seed)), 12.0) << seed;
    }
}

TEST(ScatterPhase, AResetForgets) {
    ScatterPhase<double> phase;
    phase.configure(five(), kBins);
    feed(phase, 200, 2500.0, {0.05, 0.0, 0.0, 35.0}, 1);
    EXPECT_GT(phase.log_odds(), 5.0);
    phase.reset();
    EXPECT_EQ(phase.log_odds(), 0.0);
    feed(phase, 200, 2500.0, {0.05, 0.0, 0.0, 35.0 + 360.0}, 1);
    EXPECT_LT(phase.log_odds(), -5.0);
}

TEST(ScatterPhase, OtherEnginesAreNotItsConcern) {
    Config six;
    six.engine = simulate::test::inline_engine({1, 5, 3, 6, 2, 4}).engine;
    EXPECT_EQ(odds(six, 2500.0, {0.05, 0.03, 0.0, 35.0}), 0.0);
    Config uneven = five();
    uneven.engine.firing_tdc_deg[2] = 300.0;
    EXPECT_EQ(odds(uneven, 2500.0, {0.05, 0.03, 0.0, 35.0}), 0.0);
    static_assert(std::is_trivially_copyable_v<ScatterPhase<double>>);
}

}  // namespace
}  // namespace kurbel
