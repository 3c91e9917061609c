// Orders of single cylinders and of all of them, against the same crank followed in fine steps of angle.
#include "kurbel/stage/cylinder_orders.hpp"

#include <gtest/gtest.h>

#include <complex>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "stage/rigid_crank.hpp"
#include "support/even_engine.hpp"

namespace kurbel::test {
namespace {

using Complex = std::complex<double>;

struct Orders : CrankParts {
    explicit Orders(const EngineConfig& engine, SensorAt at = SensorAt::flywheel) : CrankParts(engine, at) {
        orders.begin(engine, grid, bank, -before, size);
    }
    /// Periods in one cycle of entry o.
    [[nodiscard]] int per_cycle(int o) const {
        return static_cast<int>(
            std::lround(static_cast<double>(orders.per_revolution(o)) * config.engine.cycle_deg() / 360.0));
    }
    [[nodiscard]] std::vector<int> all() const {
        std::vector<int> list;
        for (int o = 0; o < orders.count(); ++o) list.push_back(per_cycle(o));
        return list;
    }
    CylinderOrders orders{};
};

Complex wide(std::complex<float> value) {
    return {static_cast<double>(value.real()), static_cast<double>(value.imag())};
}

/// The definition of the discrete Fourier transform.
Complex plain_transform(const CycleOfBins& values, int bins, int order) {
    Complex sum = 0.0;
    for (int b = 0; b < bins; ++b)
        sum += values[static_cast<std::size_t>(b)] * std::polar(1.0, -2.0 * std::numbers::pi * order * b / bins);
    return sum;
}

EngineConfig odd_v6() { return engine_of({1, 6, 5, 4, 3, 2}, {0, 90, 240, 330, 480, 570}); }
EngineConfig v_twin() { return engine_of({1, 2}, {0, 270}); }

TEST(CylinderOrders, ProjectIsThePlainTransform) {
    for (const EngineConfig& engine : {engine_of({1, 3, 4, 2}), engine_of({1, 2, 4, 5, 3}), odd_v6()}) {
        const Orders parts(engine);
        std::mt19937_64 random(2);
        std::normal_distribution<double> normal;
        CycleOfBins values{};
        for (double& value : values) value = normal(random);
        for (int o = 0; o < parts.orders.count(); ++o) {
            const Complex exact = plain_transform(values, parts.grid.bins, parts.per_cycle(o));
            EXPECT_LT(std::abs(parts.orders.project(values, o) - exact), 1e-5) << o;
        }
    }
}

TEST(CylinderOrders, LeavesOutWhatAllCylindersOfAnEvenEngineShare) {
    const std::vector<int> inline4{1, 2, 3, 5, 6, 7};
    const std::vector<int> inline5{1, 2, 3, 4, 6, 7, 8, 9};
    const std::vector<int> twin{1, 3, 5};
    EXPECT_EQ(Orders(engine_of({1, 3, 4, 2})).all(), inline4);
    EXPECT_EQ(Orders(engine_of({1, 2, 4, 5, 3})).all(), inline5);
    EXPECT_EQ(Orders(engine_of({1, 2})).all(), twin);
    EXPECT_EQ(Orders(engine_of({1})).orders.count(), 0);
    // Half a degree off is still even, two degrees are not.
    EXPECT_EQ(Orders(engine_of({1, 3, 4, 2}, {0, 180.4, 360, 540})).all(), inline4);
    EXPECT_EQ(Orders(engine_of({1, 3, 4, 2}, {0, 182, 360, 540})).orders.count(), 7);
}

TEST(CylinderOrders, KeepsAllOrdersOfAnOddEngine) {
    const std::vector<int> v6{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11};
    const std::vector<int> twin{1, 2, 3, 4, 5, 6};
    EXPECT_EQ(Orders(odd_v6()).all(), v6);
    EXPECT_EQ(Orders(v_twin()).all(), twin);
}

TEST(CylinderOrders, NeverUsesMoreThanItHasRoomForOrThanBinsTell) {
    for (int cylinders = 1; cylinders <= kMaxCylinders; ++cylinders) {
        const Orders parts(even_engine(cylinders));
        ASSERT_LE(parts.orders.count(), CylinderOrders::kMaxOrders);
        for (const int order : parts.all()) {
            EXPECT_LT(2 * order, parts.grid.bins);
            EXPECT_NE(order % cylinders, 0);
        }
    }
}

TEST(CylinderOrders, WholeOrdersOfARevolutionHoldWheelError) {
    const Orders four_stroke(engine_of({1, 3, 4, 2}));
    const Orders two_stroke(even_engine(3, 2));
    for (int o = 0; o < four_stroke.orders.count(); ++o) {
        EXPECT_EQ(four_stroke.orders.holds_wheel_error(o), four_stroke.per_cycle(o) % 2 == 0);
        EXPECT_FLOAT_EQ(four_stroke.orders.per_revolution(o), 0.5F * static_cast<float>(four_stroke.per_cycle(o)));
    }
    ASSERT_GT(two_stroke.orders.count(), 0);
    for (int o = 0; o < two_stroke.orders.count(); ++o) EXPECT_TRUE(two_stroke.orders.holds_wheel_error(o));
    EXPECT_NEAR(static_cast<double>(four_stroke.orders.bin_rad()), to_rad(four_stroke.grid.bin_deg), 1e-6);
    EXPECT_NEAR(static_cast<double>(two_stroke.orders.bin_rad()), to_rad(two_stroke.grid.bin_deg), 1e-6);
}

TEST(CylinderOrders, PlacesOfAnEvenInlineFourAreTurnedByTheirFiringAngle) {
    const Orders parts(engine_of({1, 3, 4, 2}));
    for (int o = 0; o < parts.orders.count(); ++o)
        for (int k = 0; k < 4; ++k) {
            // The textbook phasor diagram: at order 0.5 (one period in a cycle) neighbours stand 90 degrees apart, at
            // order 1 180 degrees, at order 1.5 270 degrees.
            const Complex turned =
                wide(parts.orders.lost(o, 0)) * std::polar(1.0, -2.0 * std::numbers::pi * parts.per_cycle(o) * k / 4.0);
            EXPECT_LT(std::abs(wide(parts.orders.lost(o, k)) - turned), 1e-5) << o << ", " << k;
        }
    // At the lowest order one lost combustion takes nearly its whole work, at higher ones less and less.
    EXPECT_GT(std::abs(parts.orders.lost(0, 0)), 0.9F);
    EXPECT_LT(std::abs(parts.orders.lost(0, 0)), 1.0F);
    for (int o = 1; o < parts.orders.count(); ++o)
        EXPECT_LT(std::abs(parts.orders.lost(o, 0)), std::abs(parts.orders.lost(o - 1, 0)));
}

struct Case {
    std::string name;
    EngineConfig engine;
};
std::vector<Case> engines() {
    EngineConfig measured = odd_v6();
    measured.stroke_mm = 85.0;
    measured.rod_mm = 160.0;
    measured.compression_ratio = 8.5;
    return {{"inline 4", engine_of({1, 3, 4, 2})},
            {"inline 5", engine_of({1, 2, 4, 5, 3})},
            {"odd V6", odd_v6()},
            {"odd V6 of known geometry", measured},
            {"V-twin", v_twin()},
            {"three, two-stroke", even_engine(3, 2)}};
}

TEST(CylinderOrders, LostCombustionIsThatOfACrankFollowedInFineSteps) {
    for (const Case& c : engines()) {
        const Orders parts(c.engine);
        for (int k = 0; k < c.engine.cylinders; ++k) {
            PerPlace lost{};
            lost[static_cast<std::size_t>(k)] = -1.0;
            const CycleOfBins seen = rigid_differences(parts, lost, PerPlace{});
            for (int o = 0; o < parts.orders.count(); ++o) {
                const Complex exact = plain_transform(seen, parts.grid.bins, parts.per_cycle(o));
                EXPECT_LT(std::abs(wide(parts.orders.lost(o, k)) - exact), 0.02 + 0.02 * std::abs(exact))
                    << c.name << ", order " << parts.per_cycle(o) << ", place " << k;
            }
        }
    }
}

TEST(CylinderOrders, SharedPartsAreThoseOfACrankFollowedInFineSteps) {
    for (const Case& c : engines()) {
        const Orders parts(c.engine);
        PerPlace gain{};
        for (int k = 0; k < c.engine.cylinders; ++k)
            gain[static_cast<std::size_t>(k)] = static_cast<double>(parts.bank.torsion_gain(k));
        const PerPlace one = all_places(1.0);
        const PerPlace none{};
        struct Part {
            CylinderOrders::Shared which;
            CycleOfBins seen;
        };
        const Part all[] = {{CylinderOrders::kCombustion, rigid_differences(parts, one, none)},
                            {CylinderOrders::kCompression, rigid_differences(parts, none, one)},
                            {CylinderOrders::kTwistedCombustion, rigid_differences(parts, gain, none)},
                            {CylinderOrders::kTwistedCompression, rigid_differences(parts, none, gain)}};
        for (const Part& part : all)
            for (int o = 0; o < parts.orders.count(); ++o) {
                const Complex exact = plain_transform(part.seen, parts.grid.bins, parts.per_cycle(o));
                const Complex given = wide(parts.orders.shared(o, part.which));
                // A few per cent, phase included: a bin off would be 360 / bins degrees an order.
                EXPECT_LT(std::abs(given - exact), 0.03 * std::abs(exact) + 0.01 * c.engine.cylinders)
                    << c.name << ", part " << part.which << ", order " << parts.per_cycle(o) << ": " << given << " for "
                    << exact;
            }
    }
}

TEST(CylinderOrders, PistonsTwistTheCrankByWhatTheirEnergyChanges) {
    // The torque of a mass m that moves with r w lever: -d/dangle (m (r w lever)^2 / 2), by differences of a fine grid instead of orders; over
    // the crank's energy J w^2 / 2 that is -(m r^2 / J) d(lever^2)/dangle.
    EngineConfig engine = engine_of({1, 2, 4, 5, 3});
    engine.stroke_mm = 86.0;
    engine.rod_mm = 143.0;
    engine.compression_ratio = 10.0;
    engine.reciprocating_kg = 0.55;
    engine.inertia_kg_m2 = 0.16;
    const Orders parts(engine, SensorAt::front);
    const double share = 0.55 * 0.043 * 0.043 / 0.16;
    const SliderCrank crank = SliderCrank::of(engine);
    constexpr int kSteps = 7200;
    for (int o = 0; o < parts.orders.count(); ++o) {
        const int order = parts.per_cycle(o);
        Complex exact = 0.0;
        for (int k = 0; k < 5; ++k)
            for (int i = 0; i < kSteps; ++i) {
                const double deg = 720.0 * (i + 0.5) / kSteps;
                const auto square = [&](double at) {
                    const double lever = crank.lever(to_rad(at - engine.firing_tdc_deg[static_cast<std::size_t>(k)]));
                    return lever * lever;
                };
                const double change = square(deg + 360.0 / kSteps) - square(deg - 360.0 / kSteps);
                exact -= static_cast<double>(parts.bank.torsion_gain(k)) * share * change *
                         std::polar(1.0, -2.0 * std::numbers::pi * order * deg / 720.0);
            }
        // Differences of bins show torque through a triangle two bins wide around the later bin's beginning.
        const double half = std::numbers::pi * order / parts.grid.bins;
        exact *= std::polar(std::pow(std::sin(half) / half, 2.0), 2.0 * half);
        EXPECT_LT(std::abs(wide(parts.orders.shared(o, CylinderOrders::kTwistedInertia)) - exact),
                  1e-4 + 0.01 * std::abs(exact))
            << order;
        if (order == 4) {
            EXPECT_GT(std::abs(exact), 0.02);  // second order of the crank, the strongest
        }
    }
    // Where masses are not told, those of a usual engine.
    engine.reciprocating_kg = kUnknown;
    const Orders untold(engine, SensorAt::front);
    EXPECT_GT(std::abs(untold.orders.shared(3, CylinderOrders::kTwistedInertia)), 0.02F);
}

TEST(CylinderOrders, CompressionHasItsPhaseAsWellAsItsSize) {
    // Strong enough orders only, so that the comparison is one of angles: 360 / 48 = 7.5 degrees an order would be one bin.
    const Orders parts(odd_v6());
    const CycleOfBins seen = rigid_differences(parts, PerPlace{}, all_places(1.0));
    int strong = 0;
    for (int o = 0; o < parts.orders.count(); ++o) {
        const Complex exact = plain_transform(seen, parts.grid.bins, parts.per_cycle(o));
        if (std::abs(exact) < 1.0) continue;
        ++strong;
        const Complex ratio = wide(parts.orders.shared(o, CylinderOrders::kCompression)) / exact;
        EXPECT_NEAR(std::abs(ratio), 1.0, 0.03) << parts.per_cycle(o);
        EXPECT_NEAR(std::arg(ratio), 0.0, 0.03) << parts.per_cycle(o);
    }
    EXPECT_GE(strong, 2);
}

}  // namespace
}  // namespace kurbel::test
