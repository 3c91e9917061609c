// What the crank does, order by order: slopes against differences, laws against closed forms.
#include "kurbel/stage/crank_wobble.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <complex>
#include <memory>
#include <numbers>
#include <random>

namespace kurbel {
namespace {

using Phasor = std::complex<double>;

Config inline_engine(int cylinders, std::array<int, kMaxCylinders> order) {
    Config config;
    config.engine.cylinders = cylinders;
    config.engine.firing_order = order;
    make_even_firing(config.engine);
    config.engine.bore_mm = 86.0;
    config.engine.stroke_mm = 86.0;
    config.engine.rod_mm = 145.0;
    config.engine.compression_ratio = 10.0;
    config.engine.reciprocating_kg = 0.45;
    config.engine.inertia_kg_m2 = 0.16;
    const int absent[2] = {58, 59};
    EXPECT_TRUE(make_even_wheel(60, absent, 2, config.crank_wheel).ok());
    config.crank_wheel.at = SensorAt::front;
    return config;
}

TEST(CrankWobble, TellsTheSlopesThatItHas) {
    const auto wobble = std::make_unique<CrankWobble>();
    wobble->build(inline_engine(5, {1, 2, 4, 5, 3}));
    const CrankWobble::Kind kind{true, true};
    std::mt19937 random(3);
    std::normal_distribution<double> normal;
    CrankWobble::Values values{};
    for (double& value : values) value = 0.7 * normal(random);
    constexpr double kStep = 1e-5;
    for (const bool fires : {false, true}) {
        const CrankWobble::Run run(310.0, 0.62, fires);
        for (int twice = 1; twice <= 2 * CrankWobble::kOrders; ++twice) {
            std::array<Phasor, CrankWobble::kMost> slopes{};
            wobble->set(values, kind);
            const Phasor size = wobble->swing(twice, run, slopes.data());
            for (int k = 0; k < wobble->unknowns(); ++k) {
                if (CrankWobble::of_chain(k)) continue;
                CrankWobble::Values moved = values;
                moved[static_cast<std::size_t>(k)] += kStep;
                wobble->set(moved, kind);
                const Phasor more = wobble->swing(twice, run, nullptr);
                moved[static_cast<std::size_t>(k)] -= 2.0 * kStep;
                wobble->set(moved, kind);
                const Phasor slope = (more - wobble->swing(twice, run, nullptr)) / (2.0 * kStep);
                EXPECT_LT(std::abs(slope - slopes[static_cast<std::size_t>(k)]), 1e-6 * (1e-3 + std::abs(size)))
                    << twice << " " << k;
            }
        }
    }
}

TEST(CrankWobble, SwingsAStiffCrankAsTheEnergyBalanceSays) {
    // d(J w^2 / 2) / dangle = torque: at order n the angle swings by torque / (n^2 J w^2), a quarter of it at twice the speed; what
    // pistons take for themselves swings it by the same at every speed.
    const auto wobble = std::make_unique<CrankWobble>();
    const Config config = inline_engine(4, {1, 3, 4, 2});
    wobble->build(config);
    CrankWobble::Values stiff{};
    stiff[CrankWobble::mode] = 10.0;  // the first mode far above all that is asked for
    wobble->set(stiff, {});
    TorqueOrders torque;
    torque.build(config.engine);
    const double deg = 180.0 / std::numbers::pi;
    for (const double w : {100.0, 200.0}) {
        const TorqueOrders::Single& second = torque[4];
        const Phasor all = second.outside + 0.5 * (second.charge + second.burn) + w * w * second.mass;
        // Four cylinders half a turn apart push together at the second order. The tooth seems to stand back where the crank is ahead.
        const Phasor expected = 4.0 * deg * all / (4.0 * w * w);
        const Phasor found = wobble->swing(4, {w, 0.5, true}, nullptr);
        EXPECT_LT(std::abs(found - expected), 0.01 * std::abs(expected)) << w;
        // And cancel each other at the first.
        EXPECT_LT(std::abs(wobble->swing(2, {w, 0.5, true}, nullptr)), 0.01 * std::abs(expected));
    }
}

TEST(CrankWobble, GrowsWhereAnOrderMeetsTheCrank) {
    const auto wobble = std::make_unique<CrankWobble>();
    wobble->build(inline_engine(6, {1, 5, 3, 6, 2, 4}));
    wobble->set({}, {});
    // 350 Hz: order 6 meets it at 3500 rpm.
    const double meets = 2.0 * std::numbers::pi * 350.0 / 6.0;
    const auto size = [&](double w) { return std::abs(wobble->swing(12, {w, 0.6, true}, nullptr)); };
    EXPECT_GT(size(meets), 4.0 * size(0.7 * meets));
    EXPECT_GT(size(meets), 4.0 * size(1.3 * meets));
}

TEST(CrankWobble, DoesNotBurnWithoutFuelNorFillWithoutAThrottle) {
    const auto wobble = std::make_unique<CrankWobble>();
    Config config = inline_engine(4, {1, 3, 4, 2});
    wobble->build(config);
    wobble->set({}, {});
    EXPECT_GT(std::abs(wobble->swing(4, {200.0, 0.9, false}, nullptr) - wobble->swing(4, {200.0, 0.2, false}, nullptr)),
              0.01);
    config.engine.compression_ratio = 17.0;  // a diesel's: every charge is full
    wobble->build(config);
    wobble->set({}, {});
    EXPECT_EQ(wobble->swing(4, {200.0, 0.9, false}, nullptr), wobble->swing(4, {200.0, 0.2, false}, nullptr));
    EXPECT_NE(wobble->swing(4, {200.0, 0.9, true}, nullptr), wobble->swing(4, {200.0, 0.2, true}, nullptr));
}

}  // namespace
}  // namespace kurbel
