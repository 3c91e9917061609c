// How far one lost combustion pulls the speed down. On a rigid free crank energy alone decides: 1/2 J w^2 falls by the lost
// work, so 100 J at 800 rpm and J = 0.15 kg m^2 leave 720.01 rpm, a dip of 80 rpm (computed from the formula; the linear
// estimate E/(J w) gives 76).
#include <gtest/gtest.h>

#include <cmath>

#include "kurbel/simulate/engine_model.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

constexpr double kRpm = portable::kPi / 30.0;

/// A single without friction, load or noticeable reciprocating mass, all its shafts as stiff as they come.
Scenario rigid_single() {
    Scenario s = test::without_scatter(test::inline_engine({1}));
    s.engine.inertia_kg_m2 = 0.15;
    s.engine.reciprocating_kg = 1e-3;
    s.crank.first_torsion_hz = 2000.0;
    s.friction = {0.0, 0.0, 0.0, 0.0};
    return s;
}

/// Speed 180 degrees after firing TDC of an engine that stood at `rpm` 180 degrees before it.
double end_rpm(const Scenario& s, double rpm, double heat_j, double load_nm, double& work_j) {
    EngineModel model(s);
    Charge charge = nominal_charge(s, model.cylinder(), 0.4);
    charge.heat_j = heat_j;
    model.charge[0] = charge;
    model.manifold_pa = charge.trapped_pa;
    model.load_nm = load_nm;
    model.start(-portable::kPi, rpm * kRpm);
    while (model.angle_rad[1] < portable::kPi) model.step(2e-6);
    work_j = model.work_j[0];
    return model.speed_rad_s[1] / kRpm;
}

TEST(MisfireDip, FollowsTheEnergyOnARigidFreeCrank) {
    const Scenario s = rigid_single();
    double healthy_j = 0.0;
    double lost_j = 0.0;
    // Heat chosen so that the firing is worth 100 J more than no firing; linear, so two runs tell it.
    double unused = 0.0;
    static_cast<void>(end_rpm(s, 800.0, 0.0, 0.0, lost_j));
    static_cast<void>(end_rpm(s, 800.0, 200.0, 0.0, healthy_j));
    const double heat_j = 200.0 * (100.0 - lost_j) / (healthy_j - lost_j);
    const double load_nm = 100.0 / (2.0 * portable::kPi);
    const double healthy_rpm = end_rpm(s, 800.0, heat_j, load_nm, healthy_j);
    EXPECT_NEAR(healthy_j, 100.0, 0.2);
    EXPECT_NEAR(healthy_rpm, 800.0, 0.3);
    // The load takes its 100 J, the misfire gives lost_j (about 0).
    const double misfire_rpm = end_rpm(s, 800.0, 0.0, load_nm, unused);
    const double left = 0.5 * 0.15 * 800.0 * kRpm * 800.0 * kRpm - 100.0 + unused;
    EXPECT_NEAR(misfire_rpm, std::sqrt(2.0 * left / 0.15) / kRpm, 0.02);
    EXPECT_NEAR(misfire_rpm, 720.01, 2.0);
}

TEST(MisfireDip, EnergyBalanceCloses) {
    // Kinetic energy gained plus load work equals gas work, to a part in 10^5, on the elastic crank without friction.
    Scenario s = test::without_scatter(test::inline_four());
    s.friction = {0.0, 0.0, 0.0, 0.0};
    s.crank.damping_ratio = 0.0;
    EngineModel model(s);
    for (std::size_t c = 0; c < 4; ++c) model.charge[c] = nominal_charge(s, model.cylinder(), 0.5);
    model.manifold_pa = model.charge[0].trapped_pa;
    model.load_nm = 40.0;
    model.start(0.3, 150.0);
    const auto energy = [&] {
        const TorsionChain& chain = model.layout().chain;
        double sum = 0.0;
        for (std::size_t i = 0; i < static_cast<std::size_t>(chain.masses); ++i) {
            const double twist = model.angle_rad[i] - model.angle_rad[i + 1];
            sum += 0.5 * chain.inertia_kg_m2[i] * model.speed_rad_s[i] * model.speed_rad_s[i];
            if (i + 1 < static_cast<std::size_t>(chain.masses)) sum += 0.5 * chain.stiffness_nm_rad[i] * twist * twist;
        }
        for (std::size_t c = 0; c < 4; ++c) {
            const double speed = model.speed_rad_s[c + 1];
            sum += 0.5 * speed * speed *
                   model.cylinder().torque(model.cylinder_rad(c), speed, 1e5, model.charge[c]).inertia_kg_m2;
        }
        return sum;
    };
    const double before = energy();
    const double flywheel_before = model.angle_rad[5];
    for (int i = 0; i < 20000; ++i) {
        model.step(1e-5);
        for (std::size_t c = 0; c < 4; ++c)
            if (model.cylinder_rad(c) >= 2.0 * portable::kPi) model.firing_tdc_rad[c] += 4.0 * portable::kPi;
    }
    double gas = 0.0;
    for (std::size_t c = 0; c < 4; ++c) gas += model.work_j[c];
    const double load = 40.0 * (model.angle_rad[5] - flywheel_before);
    ASSERT_GT(load, 500.0);
    EXPECT_NEAR((energy() - before + load) / gas, 1.0, 1e-5);
}

}  // namespace
}  // namespace kurbel::simulate
