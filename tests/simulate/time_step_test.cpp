// Half the time step moves no tooth by more than a tenth of a microsecond, whatever the charge does.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

std::int64_t worst_ns(Scenario s) {
    const double highest = 1.1 * std::max(s.operation.speed_rpm.highest(), 600.0) * portable::kPi / 30.0;
    const double steps = std::ceil(1e-3 / EngineModel(s).longest_step_s(highest));
    const read::Recording coarse = simulate(s);
    s.step_s = 1e-3 / (2.0 * steps);
    const read::Recording fine = simulate(s);
    EXPECT_EQ(coarse.tick.size(), fine.tick.size());
    std::int64_t worst = 0;
    for (std::size_t i = 0; i < std::min(coarse.tick.size(), fine.tick.size()); ++i)
        worst = std::max(worst, std::abs(coarse.tick[i] - fine.tick[i]));
    return worst;
}

Scenario breathing(Scenario s, double seconds) {
    s.manifold.volume_l = 3.0;
    s.seconds = seconds;
    return s;
}

TEST(TimeStep, IdleWithEveryEffectOfTheBurn) {
    Scenario s = breathing(test::inline_four(), 6.0);
    s.combustion.carry_over = 1.0;
    s.combustion.slow_share_low_load = 0.02;
    s.combustion.film_share = 0.2;
    s.idle_spark.gain_deg_per_rpm = 0.05;
    s.misfires.push_back({});
    EXPECT_LE(worst_ns(s), 100);
}

TEST(TimeStep, FullSpeedWithBackPressureAndOverlap) {
    Scenario s = breathing(test::in_gear(test::inline_four(), 6000.0, 0.6), 3.0);
    s.gas_exchange.exhaust_bar_s2_per_kg2 = 30.0;
    s.gas_exchange.overlap_factor_deg_m = 1.0;
    EXPECT_LE(worst_ns(s), 100);
}

TEST(TimeStep, ShutCylindersAndAFootThatMoves) {
    Scenario s = breathing(test::in_gear(test::inline_four(), 2000.0, 0.6), 5.0);
    s.operation.load = Profile({{1.0, 0.3}, {1.1, 0.9}, {2.0, 0.9}, {2.1, 0.2}, {2.9, 0.2}, {3.0, 0.5}});
    Deactivation rule;
    rule.cylinders = {2, 3};
    rule.from_s = 3.2;
    rule.to_s = 4.0;
    s.deactivations.push_back(rule);
    s.fuel_cuts.push_back({0, 4.3, 4.6});
    EXPECT_LE(worst_ns(s), 100);
}

TEST(TimeStep, DieselOfTwoParts) {
    Scenario s = breathing(test::in_gear(test::inline_engine({1, 5, 3, 6, 2, 4}), 1500.0, 0.4), 3.0);
    s.combustion.throttled = false;
    s.engine.compression_ratio = 17.0;
    s.combustion.premixed_share = 0.3;
    s.manifold.boost_bar = Profile(0.4);
    EXPECT_LE(worst_ns(s), 100);
}

}  // namespace
}  // namespace kurbel::simulate
