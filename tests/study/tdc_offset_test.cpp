// Engines on paper whose declared TDC is right, and ones where it is not.
#include "kurbel/study/tdc_offset.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <string>

#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace {

using namespace kurbel;
using simulate::Operation;
using simulate::Profile;
using simulate::Scenario;

/// The estimate where true TDC stands `offset_deg` after the declared one; no cam, so that none contradicts.
TdcOffset estimate(read::Recording recording, double offset_deg) {
    double& tdc1_deg = recording.config.crank_wheel.tdc1_deg;
    tdc1_deg = std::fmod(tdc1_deg - offset_deg + 360.0, 360.0);
    double& cam_deg = recording.config.cam_wheel.edge_deg[0];
    cam_deg = std::fmod(cam_deg + offset_deg + 720.0, 720.0);
    const Result<read::Analysis> analysis = read::analyze(recording, Settings{});
    EXPECT_TRUE(analysis.ok()) << analysis.status.why;
    return analysis.value.tdc_offset;
}

read::Recording idling(std::initializer_list<int> firing_order, double ca50_deg = 9.0) {
    Scenario s = simulate::test::inline_engine(firing_order);
    s.engine.inertia_kg_m2 = 0.04 * s.engine.cylinders;
    s.combustion.ca50_deg = ca50_deg;
    s.operation.speed_rpm = Profile(780.0);
    s.wheel_error.pitch_deg = 0.03;
    return simulate::simulate(s);
}

read::Recording cranked(std::initializer_list<int> firing_order) {
    Scenario s = simulate::test::inline_engine(firing_order);
    s.engine.inertia_kg_m2 = 0.05 * s.engine.cylinders + 0.03;
    s.operation.mode = Operation::cranking;
    s.operation.load = Profile(0.95);
    s.starter.stall_nm = 70.0 * s.engine.cylinders;
    s.fuel_cuts.push_back({});
    s.settle_s = 0.0;
    s.wheel_error.pitch_deg = 0.05;
    return simulate::simulate(s);
}

/// The range holds the truth, small offsets are left alone, and large ones are named.
void expect_told(const read::Recording& recording, double large_deg) {
    for (const double offset_deg : {0.0, 10.0, -10.0, large_deg, -large_deg}) {
        SCOPED_TRACE("offset " + std::to_string(offset_deg));
        const TdcOffset found = estimate(recording, offset_deg);
        ASSERT_TRUE(found.known()) << "misfit " << found.misfit;
        EXPECT_LE(found.low_deg, offset_deg);
        EXPECT_GE(found.high_deg, offset_deg);
        EXPECT_EQ(found.beyond(), std::fabs(offset_deg) > 15.0) << found.low_deg << " to " << found.high_deg;
    }
}

TEST(TdcOffset, ToldAtIdle) {
    expect_told(idling({1, 3, 2}), 40.0);
    expect_told(idling({1, 3, 4, 2}), 50.0);
    expect_told(idling({1, 2, 4, 5, 3}), 45.0);
    expect_told(idling({1, 5, 3, 6, 2, 4}), 45.0);
}

TEST(TdcOffset, CrankingTellsMore) {
    expect_told(cranked({1, 3, 4, 2}), 32.0);
    expect_told(cranked({1, 5, 3, 6, 2, 4}), 32.0);
}

TEST(TdcOffset, LateBurnIsNoOffset) {
    for (const double ca50_deg : {3.0, 20.0, 35.0}) {
        EXPECT_FALSE(estimate(idling({1, 3, 4, 2}, ca50_deg), 0.0).beyond()) << ca50_deg;
        EXPECT_FALSE(estimate(idling({1, 5, 3, 6, 2, 4}, ca50_deg), 0.0).beyond()) << ca50_deg;
    }
}

TEST(TdcOffset, ReciprocatingMassesAreNoOffset) {
    // At 3000 rpm the pistons of a four move the second order more than the gas does, and the other way.
    for (const bool described : {true, false})
        for (const double speed_rpm : {2000.0, 3000.0, 4500.0}) {
            read::Recording recording =
                simulate::simulate(simulate::test::in_gear(simulate::test::inline_four(), speed_rpm, 0.4));
            if (!described) {
                const EngineConfig known = recording.config.engine;
                recording.config.engine = EngineConfig{};
                recording.config.engine.cylinders = known.cylinders;
                recording.config.engine.firing_order = known.firing_order;
                recording.config.engine.firing_tdc_deg = known.firing_tdc_deg;
            }
            EXPECT_FALSE(estimate(recording, 0.0).beyond()) << speed_rpm << " rpm";
        }
}

TEST(TdcOffset, DeadCylinderIsNoOffset) {
    Scenario s = simulate::test::inline_four();
    s.misfires.push_back({});
    s.misfires.back().pattern = simulate::MisfirePattern::continuous;
    s.misfires.back().cylinders = {3};
    EXPECT_FALSE(estimate(simulate::simulate(s), 0.0).beyond());
}

TEST(TdcOffset, TorsionSeenAtTheFrontIsNoOffset) {
    // From a good half of the mode's frequency on, the front moves against the rigid crank.
    Scenario s = simulate::test::in_gear(simulate::test::inline_engine({1, 2, 4, 5, 3}), 3300.0, 0.8);
    s.engine.inertia_kg_m2 = 0.5;
    s.engine.reciprocating_kg = 0.78;
    s.crank.first_torsion_hz = 212.0;
    EXPECT_FALSE(estimate(simulate::simulate(s), 0.0).beyond());
}

TEST(TdcOffset, ClutchSpringsAreNoOffset) {
    // The firing frequency, 65 Hz, meets the gearbox on its springs.
    Scenario s = simulate::test::in_gear(simulate::test::inline_engine({1, 3, 2}), 2600.0, 0.36);
    s.engine.bore_mm = 95.0;
    s.engine.stroke_mm = 102.0;
    s.engine.rod_mm = 180.0;
    s.engine.reciprocating_kg = 0.78;
    s.engine.inertia_kg_m2 = 0.2;
    s.crank_wheel.at = SensorAt::flywheel;
    s.crank.first_torsion_hz = 384.0;
    s.combustion.ca50_deg = 21.0;
    s.driveline.ratio = 6.7;
    s.driveline.gearbox_kg_m2 = 0.063;
    s.driveline.clutch_hz = 66.4;
    EXPECT_FALSE(estimate(simulate::simulate(s), 0.0).beyond());
}

TEST(TdcOffset, UnknownWhereTorsionReigns) {
    const Scenario s = simulate::test::in_gear(simulate::test::inline_engine({1, 5, 3, 6, 2, 4}), 6000.0, 0.5);
    const TdcOffset found = estimate(simulate::simulate(s), 40.0);
    EXPECT_FALSE(found.known());
    EXPECT_FALSE(found.beyond());
}

TEST(TdcOffset, UnknownForTwoStrokes) {
    Scenario s = simulate::test::inline_engine({1, 3, 2});
    s.engine.strokes = 2;
    make_even_firing(s.engine);
    s.cam_wheel.edges = 0;
    s.gas_exchange.intake_closing_deg = -100.0;
    s.gas_exchange.exhaust_opening_deg = 100.0;
    const read::Recording recording = simulate::simulate(s);
    const Result<read::Analysis> analysis = read::analyze(recording, Settings{});
    ASSERT_TRUE(analysis.ok());
    EXPECT_GT(analysis.value.events.size(), 100U);
    EXPECT_FALSE(analysis.value.tdc_offset.known());
}

TEST(TdcOffset, UnknownWithoutEdges) {
    const Scenario s = simulate::test::inline_four();
    Config config;
    config.engine = s.engine;
    config.crank_wheel = s.crank_wheel;
    const TdcOffset found = estimate_tdc_offset(config, FiringOrders(config));
    EXPECT_FALSE(found.known());
    EXPECT_EQ(found.period_deg, 180.0);
}

TEST(TdcOffset, WithoutPhaseTheMotionRepeatsMoreOften) {
    read::Recording recording = idling({1, 2, 4, 5, 3});
    recording.config.cam_wheel.edges = 0;
    for (std::size_t i = 0; i < recording.signal.size(); ++i)
        if (recording.signal[i] != 0) {
            recording.signal.erase(recording.signal.begin() + static_cast<std::ptrdiff_t>(i));
            recording.tick.erase(recording.tick.begin() + static_cast<std::ptrdiff_t>(i));
            --i;
        }
    FiringOrders seen(recording.config);
    EXPECT_EQ(estimate_tdc_offset(recording.config, seen).period_deg, 72.0);
    EXPECT_FALSE(estimate(recording, 0.0).beyond());
}

}  // namespace
