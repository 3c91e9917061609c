#include "kurbel/simulate/driveline.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "kurbel/simulate/simulator.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

using Part = DrivelineState;

/// The inline four on a road behind five gears and tyres.
Scenario geared() {
    Scenario s = test::without_scatter(test::inline_four());
    s.operation.mode = Operation::road;
    s.operation.speed_rpm = Profile(2500.0);
    s.operation.load = Profile(0.4);
    s.gearbox.ratios = {3.6, 2.05, 1.39, 1.03, 0.8};
    s.gearbox.final_drive = 4.1;
    s.gearbox.gear = {{0.0, 3}};
    s.tyre.on = true;
    s.settle_s = 1.0;
    return s;
}

/// Crank turns per wheel turn between two times of a run.
struct Ratio {
    double from_s;
    double to_s;
    double crank = 0.0;
    double wheel = 0.0;

    void see(const EngineModel& model, double time_s) {
        if (time_s < from_s || time_s > to_s) return;
        crank += model.speed_rad_s[static_cast<std::size_t>(model.layout().flywheel)];
        wheel += model.driveline().state[Part::wheel_rad_s];
    }
    [[nodiscard]] double value() const { return crank / wheel; }
};

TEST(Driveline, GearChangesLeaveTheSpeedRatioOfTheNewGear) {
    Scenario s = geared();
    s.gearbox.gear = {{0.0, 2}, {2.0, 3}, {5.0, 2}};
    s.dual_mass.secondary_kg_m2 = 0.06;
    s.seconds = 8.0;
    Ratio second{1.0, 2.0};
    Ratio third{4.0, 5.0};
    Ratio again{7.0, 8.0};
    double slipping_s = 0.0;
    double before = 0.0;
    static_cast<void>(simulate(s, {}, [&](const EngineModel& model, double time_s) {
        second.see(model, time_s);
        third.see(model, time_s);
        again.see(model, time_s);
        const double rear = model.speed_rad_s[static_cast<std::size_t>(model.layout().rear)];
        if (model.driveline().clutch_slips(rear)) slipping_s += time_s - before;
        before = time_s;
    }));
    EXPECT_NEAR(second.value(), 2.05 * 4.1, 0.003);
    EXPECT_NEAR(third.value(), 1.39 * 4.1, 0.003);
    EXPECT_NEAR(again.value(), 2.05 * 4.1, 0.003);
    // Two changes, each with 0.25 s open and some slipping before and after.
    EXPECT_GT(slipping_s, 0.5);
    EXPECT_LT(slipping_s, 1.8);
}

TEST(Driveline, TheClutchCarriesNoMoreThanItsTorque) {
    Scenario s = geared();
    s.gearbox.clutch_nm = 50.0;
    s.gearbox.ratios = {1.0};
    s.gearbox.gear = {};
    Driveline line(s, 0.16);
    line.start(0.0, 200.0);
    line.control(0.0, 1e-3);
    line.state[Part::clutch_rad] = 1.0;
    DrivelineState rate;
    EXPECT_EQ(line.slope(line.state, 300.0, 0.0, rate), -50.0);
    EXPECT_EQ(line.slope(line.state, 100.0, 0.0, rate), -50.0);
    EXPECT_LT(rate[Part::clutch_rad], 0.0);  // what has slipped does not spring back: the twist gives way
    line.state[Part::clutch_rad] = -1.0;
    EXPECT_EQ(line.slope(line.state, 200.0, 0.0, rate), 50.0);
}

TEST(Driveline, ConverterFollowsItsLaw) {
    ConverterSettings c;
    c.pump_nm_s2 = 0.004;
    const ConverterTorque stall = converter_torque(c, 200.0, 0.0);
    EXPECT_DOUBLE_EQ(stall.pump_nm, 160.0);
    EXPECT_DOUBLE_EQ(stall.turbine_nm, 320.0);
    const ConverterTorque coupling = converter_torque(c, 200.0, 170.0);
    EXPECT_NEAR(coupling.pump_nm, 160.0, 1e-9);
    EXPECT_NEAR(coupling.turbine_nm, 160.0, 1e-9);
    const ConverterTorque same = converter_torque(c, 200.0, 200.0);
    EXPECT_EQ(same.pump_nm, 0.0);
    const ConverterTorque overrun = converter_torque(c, 170.0, 200.0);
    EXPECT_NEAR(overrun.pump_nm, -160.0, 1e-9);
    EXPECT_EQ(overrun.turbine_nm, overrun.pump_nm);
    EXPECT_EQ(converter_torque(c, 0.0, 0.0).pump_nm, 0.0);
}

TEST(Driveline, LockUpEndsTheConvertersSlip) {
    Scenario s = geared();
    s.converter.pump_nm_s2 = 0.0035;
    s.gearbox.clutch = Profile({{0.0, 0.0}, {2.0, 0.0}, {2.4, 1.0}});
    s.seconds = 5.0;
    double open = 0.0;
    double locked = 0.0;
    static_cast<void>(simulate(s, {}, [&](const EngineModel& model, double time_s) {
        const double engine = model.speed_rad_s[static_cast<std::size_t>(model.layout().rear)];
        const double slip = engine - model.driveline().state[Part::input_rad_s];
        if (time_s > 1.0 && time_s <= 2.0) open += slip / engine;
        if (time_s > 4.0) locked += slip / engine;
    }));
    EXPECT_GT(open, 100.0 * std::abs(locked));
}

TEST(Driveline, BrakesSlowAVehicleInNeutralAsNewtonSays) {
    for (const bool tyres : {false, true}) {
        Scenario s = geared();
        s.tyre.on = tyres;
        s.gearbox.gear = {{0.0, 3}, {0.5, 0}};
        s.brake.torque_nm = Profile({{3.0, 0.0}, {3.0, 1500.0}});
        s.driveline.drag_n_s2_m2 = 0.0;
        s.seconds = 6.0;
        double from = 0.0;
        double to = 0.0;
        static_cast<void>(simulate(s, {}, [&](const EngineModel& model, double time_s) {
            if (time_s < 4.0) from = model.vehicle_kmh() / 3.6;
            if (time_s < 5.0) to = model.vehicle_kmh() / 3.6;
        }));
        const double radius = s.driveline.wheel_radius_m;
        const double force = 1500.0 / radius + s.driveline.rolling_n;
        const double mass = s.driveline.vehicle_kg + s.gearbox.wheel_kg_m2 / (radius * radius);
        EXPECT_NEAR((from - to) * mass / force, 1.0, 0.01) << tyres;
    }
}

TEST(Driveline, VehicleSpeedIsHeldThroughAGearChange) {
    Scenario s = geared();
    s.operation.load = Profile();
    s.operation.speed_kmh = Profile(60.0);
    s.operation.speed_rpm = Profile(60.0 / 3.6 / 0.31 * 1.39 * 4.1 * 30.0 / portable::kPi);
    s.gearbox.gear = {{0.0, 3}, {6.0, 4}};
    s.seconds = 20.0;
    double kmh = 0.0;
    static_cast<void>(simulate(s, {}, [&](const EngineModel& model, double) { kmh = model.vehicle_kmh(); }));
    EXPECT_NEAR(kmh, 60.0, 0.6);
}

TEST(Driveline, OpenClutchLeavesTheSecondFlywheelMassOnTheEngine) {
    Scenario s = test::inline_four();
    const EngineModel plain(s);
    s.dual_mass.secondary_kg_m2 = 0.06;
    const EngineModel dual(s);
    EXPECT_NEAR(dual.total_inertia_kg_m2() - plain.total_inertia_kg_m2(), 0.06, 1e-12);
    EXPECT_EQ(dual.layout().rear, dual.layout().flywheel + 1);
}

TEST(Driveline, DryFrictionDampsTheDualMassFlywheel) {
    // Twist the free flywheel and let go: with dry friction it rings for fewer periods.
    const auto ringing = [](double hysteresis_nm) {
        Scenario s = test::without_scatter(test::inline_four());
        s.engine.bore_mm = 0.01;  // no gas forces, no moving pistons
        s.engine.reciprocating_kg = 1e-12;
        s.friction = {0.0, 0.0, 0.0, 0.0};
        s.dual_mass.secondary_kg_m2 = 0.06;
        s.dual_mass.damping_ratio = 0.01;
        s.dual_mass.hysteresis_nm = hysteresis_nm;
        EngineModel model(s);
        model.start(0.0, 200.0);
        const auto rear = static_cast<std::size_t>(model.layout().rear);
        model.speed_rad_s[rear] += 10.0;
        double late = 0.0;
        for (int i = 0; i < 40000; ++i) {
            model.step(2e-5);
            for (std::size_t c = 0; c < 4; ++c)
                if (model.cylinder_rad(c) >= 0.5 * model.cylinder().cycle_rad())
                    model.firing_tdc_rad[c] += model.cylinder().cycle_rad();
            if (i > 10000) late = std::max(late, std::abs(model.angle_rad[rear] - model.angle_rad[rear - 1]));
        }
        return late;
    };
    EXPECT_GT(ringing(0.0), 0.05);
    EXPECT_LT(ringing(4.0), 0.5 * ringing(0.0));
}

TEST(Driveline, AnAccessoryChangesNothingBeforeItIsOn) {
    Scenario s = test::inline_four();
    s.seconds = 6.0;
    const read::Recording plain = simulate(s);
    AccessoryLoad compressor;
    compressor.from_s = 3.0;
    compressor.torque_nm = 15.0;
    s.accessories = {compressor};
    const read::Recording loaded = simulate(s);
    std::size_t same = 0;
    while (same < plain.tick.size() && plain.tick[same] == loaded.tick[same]) ++same;
    EXPECT_NEAR(static_cast<double>(plain.tick[same]) * 1e-9, 3.0, 0.01);
    EXPECT_GT(loaded.channels[loaded.channels.size() - 3].value,
              plain.channels[plain.channels.size() - 3].value + 0.02);
}

TEST(CrankDamper, TakesTheTwistOutOfARunAtResonance) {
    // Order 6 of an even four meets 400 Hz at 4000 rpm.
    const auto twist = [](double ring_kg_m2) {
        Scenario s = test::in_gear(test::without_scatter(test::inline_four()), 4000.0, 0.9);
        s.crank.damper_kg_m2 = ring_kg_m2;
        s.seconds = 1.0;
        double low = 1e9;
        double high = -1e9;
        static_cast<void>(simulate(s, {}, [&](const EngineModel& model, double) {
            const double angle = model.angle_rad[static_cast<std::size_t>(model.layout().front)] -
                                 model.angle_rad[static_cast<std::size_t>(model.layout().flywheel)];
            low = std::min(low, angle);
            high = std::max(high, angle);
        }));
        return high - low;
    };
    EXPECT_LT(twist(0.005), 0.6 * twist(0.0));
}

TEST(Road, ShakesTheCrankByItsSeedAndNothingElse) {
    Scenario s = geared();
    s.seconds = 5.0;
    s.misfires.push_back({});
    const read::Recording smooth = simulate(s);
    s.road.kind = RoadKind::random;
    s.road.roughness_m3 = 1024e-6;
    s.road.from_s = 2.0;
    const read::Recording rough = simulate(s);
    std::size_t same = 0;
    while (same < smooth.tick.size() && smooth.tick[same] == rough.tick[same]) ++same;
    EXPECT_EQ(same, 0U);  // hubs swing in their bushings on any road of that kind
    EXPECT_TRUE(rough.tick == simulate(s).tick);
    for (std::size_t i = 0; i < std::min(smooth.truth.size(), rough.truth.size()); ++i)
        EXPECT_EQ(smooth.truth[i].severity, rough.truth[i].severity);
    Scenario other = s;
    other.seed = 2;
    EXPECT_FALSE(rough.tick == simulate(other).tick);
}

TEST(Road, RoughnessShowsInTheCrankSpeed) {
    // Variation of the speed at the wheels' frequencies, 5 to 30 Hz, taken as that of means over 20 ms.
    const auto shake = [](RoadKind kind) {
        Scenario s = geared();
        s.road.kind = kind;
        s.road.roughness_m3 = 1024e-6;
        s.seconds = 10.0;
        double sum = 0.0;
        double before = 0.0;
        double difference = 0.0;
        int count = 0;
        int means = 0;
        static_cast<void>(simulate(s, {}, [&](const EngineModel& model, double time_s) {
            sum += model.speed_rad_s[static_cast<std::size_t>(model.layout().flywheel)];
            ++count;
            if (time_s < (means + 1) * 0.024) return;
            if (means > 0) difference += (sum / count - before) * (sum / count - before);
            before = sum / count;
            ++means;
            sum = 0.0;
            count = 0;
        }));
        return std::sqrt(difference / means);
    };
    const double smooth = shake(RoadKind::smooth);
    EXPECT_GT(shake(RoadKind::random), 1.5 * smooth);
    EXPECT_GT(shake(RoadKind::washboard), 1.5 * smooth);
    EXPECT_GT(shake(RoadKind::pothole), 1.1 * smooth);
}

}  // namespace
}  // namespace kurbel::simulate
