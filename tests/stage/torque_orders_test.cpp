// Orders of one cylinder's torque against closed forms.
#include "kurbel/stage/torque_orders.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "support/even_engine.hpp"

namespace kurbel {
namespace {

EngineConfig car() {
    EngineConfig engine;
    engine.cylinders = 4;
    engine.firing_order = {1, 3, 4, 2};
    return test::car_sized(engine);
}

/// All inertia: rotating, and what the pistons have on average.
double inertia_of(const EngineConfig& engine, const TorqueOrders& orders) {
    return engine.inertia_kg_m2 / (1.0 - engine.cylinders * orders.reciprocating());
}

TEST(TorqueOrders, SwingReciprocatingMassesTwiceARevolution) {
    // m r^2 w^2 / 2 at the second order (Heywood 1988 and any book on engine dynamics, from memory): 182 N m at 6000 rpm for
    // 0.5 kg and 43 mm (shared facts 3.3). A short rod adds its square's share, some per cent.
    TorqueOrders orders;
    orders.build(car());
    const double w = 6000.0 * std::numbers::pi / 30.0;
    const double amplitude = 2.0 * std::abs(orders[4].mass) * w * w * inertia_of(car(), orders);
    EXPECT_NEAR(amplitude, 182.0, 0.03 * 182.0);
    // It pushes neither forward nor back on the whole; half orders have none.
    for (int twice = 1; twice <= TorqueOrders::kTwice; twice += 2)
        EXPECT_LT(std::abs(orders[twice].mass), 1e-9 * std::abs(orders[4].mass));
}

TEST(TorqueOrders, HoldAPistonsMeanInertia) {
    // Mean of lever^2 of an endless rod is 1/2; a rod of 3.37 radii adds 1/8 of (radius over rod)^2 and a little.
    TorqueOrders orders;
    orders.build(car());
    const double share = 0.5 * 0.043 * 0.043 * 0.5;
    EXPECT_NEAR(orders.reciprocating() * inertia_of(car(), orders) / share, 1.0 + 0.25 / (3.372 * 3.372), 0.01);
}

TEST(TorqueOrders, GiveTheBurnItsWorkAtLowOrders) {
    // A push of work E once a cycle, however short, has the phasor E / (4 pi) at every order: 15.9 N m of amplitude for 100 J
    // (shared facts 3.4). A real one lasts some 60 degrees, which half an order hardly sees.
    const EngineConfig engine = car();
    TorqueOrders orders;
    orders.build(engine);
    const double volume_m3 = 0.25 * std::numbers::pi * 0.086 * 0.086 * 0.086;
    const double work = 10e5 * volume_m3;
    const double amplitude = 2.0 * std::abs(orders[1].burn) * inertia_of(engine, orders);
    const double shortest = 2.0 * work / (4.0 * std::numbers::pi);
    EXPECT_LT(amplitude, shortest);
    EXPECT_GT(amplitude, 0.9 * shortest);
    for (int twice = 2; twice <= TorqueOrders::kTwice; ++twice)
        EXPECT_LT(std::abs(orders[twice].burn), std::abs(orders[1].burn));
}

TEST(TorqueOrders, CompressTwiceAsOftenInATwoStroke) {
    EngineConfig engine = car();
    engine.strokes = 2;
    TorqueOrders orders;
    orders.build(engine);
    for (int twice = 1; twice <= TorqueOrders::kTwice; twice += 2) {
        EXPECT_LT(std::abs(orders[twice].charge), 1e-9 * std::abs(orders[2].charge));
        EXPECT_LT(std::abs(orders[twice].burn), 1e-9 * std::abs(orders[2].burn));
    }
}

TEST(TorqueOrders, KnowHowTheExponentAndTheExhaustChangeThem) {
    // A larger exponent compresses more: p at TDC 19.95 bar by 1.3, 22.39 by 1.35 (shared facts 5.2), so that torque rises too.
    TorqueOrders orders;
    orders.build(car());
    for (int twice = 1; twice <= 8; ++twice)
        EXPECT_GT((orders[twice].steeper * std::conj(orders[twice].charge)).real(), 0.0) << twice;
    // Later by a radian adds what is there when it opens: the same push at every order, but for its phase.
    for (int twice = 2; twice <= 8; ++twice)
        EXPECT_NEAR(std::abs(orders[twice].charge_later), std::abs(orders[1].charge_later),
                    1e-9 * std::abs(orders[1].charge_later));
}

}  // namespace
}  // namespace kurbel
