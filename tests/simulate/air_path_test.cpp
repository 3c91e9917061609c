// Throttle and plenum.
#include "kurbel/simulate/air_path.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

using read::Recording;

double channel_at(const Recording& recording, Channel channel, double time_s) {
    double value = kUnknown;
    for (const read::ChannelRow& row : recording.channels)
        if (row.channel == channel && static_cast<double>(row.tick) * 1e-9 <= time_s) value = row.value;
    return value;
}

Scenario with_plenum() {
    Scenario s = test::without_scatter(test::inline_four());
    s.manifold.volume_l = 3.0;
    return s;
}

TEST(Orifice, ChokesWhereTheTextbookSays) {
    // Heywood 1988, app. C (values from memory): critical ratio 0.528, flow function 0.685 for a ratio of heats of 1.4.
    EXPECT_NEAR(orifice_flow(0.528), 0.685, 5e-4);
    EXPECT_EQ(orifice_flow(0.4), orifice_flow(0.1));
    EXPECT_LT(orifice_flow(0.6), orifice_flow(0.528));
    EXPECT_EQ(orifice_flow(1.0), 0.0);
    // The straight end joins without a step.
    EXPECT_NEAR(orifice_flow(0.985 - 1e-9), orifice_flow(0.985 + 1e-9), 1e-6);
    // By the incompressible law near 1: sqrt(2 (1 - r)).
    EXPECT_NEAR(orifice_flow(0.98), std::sqrt(2.0 * 0.02), 0.003);
}

TEST(AirPath, HoldsTheChargeThatWasAskedFor) {
    const Scenario s = with_plenum();
    const CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
    AirPath air(s, cylinder);
    for (const double load : {0.2, 0.4, 0.7, 0.95}) {
        AirPath::Demand demand;
        demand.load = load;
        demand.reference_rad_s = demand.speed_rad_s = 200.0;
        demand.open_cylinders = 4;
        air.settle(demand);
        EXPECT_NEAR(air.manifold_pa() / cylinder.ambient_pa(), load, 1e-6);
        // An engine that turns faster than the throttle was set for empties the plenum further.
        demand.speed_rad_s = 250.0;
        for (int i = 0; i < 3000; ++i) air.update(demand, 1e-3);
        EXPECT_LT(air.manifold_pa() / cylinder.ambient_pa(), load - 0.01);
    }
}

TEST(AirPath, BoostAndBackPressureAreFelt) {
    Scenario s = with_plenum();
    s.manifold.boost_bar = Profile(0.6);
    s.gas_exchange.exhaust_bar_s2_per_kg2 = 30.0;
    const CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
    AirPath air(s, cylinder);
    AirPath::Demand demand;
    demand.load = 1.4;
    demand.reference_rad_s = demand.speed_rad_s = 300.0;
    demand.open_cylinders = 4;
    air.settle(demand);
    EXPECT_NEAR(air.manifold_pa() / cylinder.ambient_pa(), 1.4, 0.01);
    EXPECT_NEAR(air.exhaust_rise_pa(), 30e5 * air.air_kg_s() * air.air_kg_s(), 1.0);
    // 2 l at 2865 rpm and 1.42 bar: 0.33 g a litre of charge and kPa; with residual gas about 70 g/s.
    EXPECT_NEAR(air.air_kg_s(), 0.066, 0.008);
}

TEST(AirPath, TipInFillsThePlenumWithinATenthOfASecond) {
    Scenario s = test::in_gear(with_plenum(), 2000.0, 0.3);
    s.channels.every_s = 0.005;
    s.operation.load = Profile({{3.0, 0.25}, {3.0, 0.9}, {6.0, 0.9}, {6.0, 0.2}});
    s.seconds = 9.0;
    const Recording recording = simulate(s);
    EXPECT_NEAR(channel_at(recording, Channel::load, 2.95), 0.25, 0.01);
    const double soon = channel_at(recording, Channel::load, 3.06);
    EXPECT_GT(soon, 0.4);
    EXPECT_LT(soon, 0.85);
    EXPECT_NEAR(channel_at(recording, Channel::load, 5.9), 0.9, 0.03);
    // Emptying takes longer: the cylinders draw off the plenum by themselves.
    EXPECT_GT(channel_at(recording, Channel::load, 6.1), 0.3);
    EXPECT_NEAR(channel_at(recording, Channel::load, 8.9), 0.2, 0.02);
}

TEST(AirPath, AThrottleProfileStandsForTheFoot) {
    Scenario s = test::in_gear(with_plenum(), 2500.0, 0.3);
    s.operation.load = Profile();
    s.manifold.throttle = Profile({{2.0, 0.04}, {2.2, 1.0}});
    s.seconds = 6.0;
    const Recording recording = simulate(s);
    EXPECT_LT(channel_at(recording, Channel::load, 1.9), 0.5);
    EXPECT_GT(channel_at(recording, Channel::load, 5.9), 0.9);
    EXPECT_LT(channel_at(recording, Channel::load, 5.9), 1.0);
}

TEST(AirPath, IdleIsHeldWithAPlenumToo) {
    Scenario s = test::inline_four();
    s.manifold.volume_l = 3.0;
    s.seconds = 20.0;
    const Recording recording = simulate(s);
    EXPECT_NEAR(static_cast<double>(recording.truth.size()) / 20.0 * 30.0, 800.0, 15.0);
}

TEST(Residual, GrowsWithOverlapAndVacuum) {
    Scenario s = with_plenum();
    s.gas_exchange.overlap_factor_deg_m = 1.0;
    const CylinderModel cylinder(s.engine, s.combustion, s.gas_exchange);
    const double idle = cylinder.residual(0.35e5, 0.0, 84.0);
    const double pulling = cylinder.residual(0.95e5, 0.0, 200.0);
    // Ranges after Heywood 1988, sec. 6.4 (from memory): about 20 to 40 % at idle, below 10 % at full load.
    EXPECT_GT(idle, 0.2);
    EXPECT_LT(idle, 0.45);
    EXPECT_LT(pulling, 0.1);
    EXPECT_LT(cylinder.residual(0.35e5, 0.0, 300.0), idle);       // less time for the backflow
    EXPECT_GT(cylinder.residual(0.95e5, 0.5e5, 200.0), pulling);  // back pressure
}

}  // namespace
}  // namespace kurbel::simulate
