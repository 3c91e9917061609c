// How far compression and lost firings pull the speed down, on engines of many sizes, by energy alone. Expected figures are
// computed from the formulas named; engine data are ordinary ones (2 l four, 5 l eight, 6 l twelve, 12.8 l truck six, 125 cm3).
#include <gtest/gtest.h>

#include <cmath>

#include "kurbel/simulate/engine_model.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

constexpr double kRpm = portable::kPi / 30.0;

/// A stiff engine without friction whose kinetic energy is that of `inertia_kg_m2` alone.
Scenario stiff(int cylinders, double inertia_kg_m2) {
    Scenario s = test::without_scatter(test::inline_engine({1}));
    s.engine.cylinders = cylinders;
    for (int c = 0; c < cylinders; ++c) {
        s.engine.firing_order[static_cast<std::size_t>(c)] = c + 1;
        s.engine.throw_number[static_cast<std::size_t>(c)] = c + 1;
    }
    make_even_firing(s.engine);
    s.engine.inertia_kg_m2 = inertia_kg_m2;
    s.engine.reciprocating_kg = 1e-4;
    s.crank.first_torsion_hz = 2000.0;
    s.friction = {0.0, 0.0, 0.0, 0.0};
    return s;
}

TEST(SpeedDips, OneCompressionTakesItsWork) {
    // Bore and stroke 86 mm, rod 145 mm, ratio 10, from 1 bar with exponent 1.3: 184.1 J against the gas, 134.2 J net of 1 bar
    // under the piston (polytropic work, computed: p1 V1/(n - 1) ((V1/V2)^(n-1) - 1), less p0 times the displacement).
    Scenario s = stiff(1, 0.15);
    s.combustion.ambient_bar = 1.0;
    s.combustion.compression_exponent = 1.3;
    s.combustion.expansion_exponent = 1.3;
    s.gas_exchange.intake_closing_deg = -179.5;
    EngineModel model(s);
    model.charge[0].trapped_pa = 1e5;
    model.manifold_pa = 1e5;
    const double start = 600.0 * kRpm;
    model.start(-portable::kPi, start);
    while (model.angle_rad[1] < 0.0) model.step(2e-6);
    const double lost = 0.5 * 0.15 * (start * start - model.speed_rad_s[1] * model.speed_rad_s[1]);
    EXPECT_NEAR(lost, 134.2, 0.3);
    // At 200 rpm the whole crank holds but 32.9 J: it does not get over the top by itself.
    model.start(-portable::kPi, 200.0 * kRpm);
    bool turned_back = false;
    for (int i = 0; i < 500000 && !turned_back; ++i) {
        model.step(2e-6);
        turned_back = model.speed_rad_s[1] < 0.0;
    }
    EXPECT_TRUE(turned_back);
    EXPECT_LT(model.angle_rad[1], -0.3);
}

TEST(SpeedDips, ALostFiringTakesItsWorkWhateverTheEngine) {
    struct Case {
        const char* name;
        int cylinders;
        double inertia_kg_m2;
        double rpm;
        double lost_j;
        double drop_rpm;  // E/(J w)
    };
    // E/(J w), computed: Delta w = E/(J w) follows from 1/2 J w^2.
    const Case cases[] = {
        {"four, 800 rpm", 4, 0.15, 800.0, 100.0, 76.0},      {"four, 2000 rpm", 4, 0.15, 2000.0, 200.0, 61.0},
        {"four, 6000 rpm", 4, 0.15, 6000.0, 150.0, 15.2},    {"eight, 6000 rpm", 8, 0.25, 6000.0, 188.0, 11.4},
        {"twelve, 7000 rpm", 12, 0.35, 7000.0, 125.0, 4.65}, {"truck six, 600 rpm", 6, 3.0, 600.0, 532.0, 26.9},
        {"truck six, 2000 rpm", 6, 3.0, 2000.0, 639.0, 9.7}, {"single, 8000 rpm", 1, 0.01, 8000.0, 50.0, 57.0}};
    for (const Case& k : cases) {
        const Scenario s = stiff(k.cylinders, k.inertia_kg_m2);
        const auto end_rpm = [&](double heat_j, double& work_j) {
            EngineModel model(s);
            for (std::size_t c = 0; c < static_cast<std::size_t>(k.cylinders); ++c) {
                model.charge[c] = nominal_charge(s, model.cylinder(), 0.5);
                model.charge[c].heat_j = 0.0;
            }
            model.charge[0].heat_j = heat_j;
            model.manifold_pa = model.charge[0].trapped_pa;
            model.start(-portable::kPi, k.rpm * kRpm);
            const double step = 0.05 * portable::kPi / 180.0 / (k.rpm * kRpm);
            while (model.angle_rad[1] < portable::kPi) model.step(step);
            work_j = model.work_j[0];
            return model.speed_rad_s[static_cast<std::size_t>(model.layout().flywheel)] / kRpm;
        };
        // The gain of work is linear in heat: two runs tell how much heat is worth the wanted work.
        double none_j = 0.0;
        double trial_j = 0.0;
        const double without = end_rpm(0.0, none_j);
        static_cast<void>(end_rpm(100.0, trial_j));
        double work_j = 0.0;
        const double with = end_rpm(100.0 * k.lost_j / (trial_j - none_j), work_j);
        EXPECT_NEAR(work_j - none_j, k.lost_j, 0.01 * k.lost_j) << k.name;
        // Exactly: the squares differ by 2 E/J; the linear formula is good to a few per cent.
        const double exact = std::sqrt(without * without + 2.0 * k.lost_j / k.inertia_kg_m2 / (kRpm * kRpm)) - without;
        EXPECT_NEAR(with - without, exact, 0.012 * exact) << k.name;
        EXPECT_NEAR(with - without, k.drop_rpm, 0.06 * k.drop_rpm) << k.name;
    }
}

}  // namespace
}  // namespace kurbel::simulate
