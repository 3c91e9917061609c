// What a healthy cycle should look like, against closed forms.
#include "kurbel/stage/healthy_cycle.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numeric>

#include "stage/rigid_crank.hpp"
#include "support/even_engine.hpp"

namespace kurbel::test {
namespace {

WheelConfig sixty_minus_two() {
    const int absent[] = {58, 59};
    WheelConfig wheel;
    EXPECT_TRUE(make_even_wheel(60, absent, 2, wheel));
    return wheel;
}

EngineConfig engine_of(int cylinders) { return car_sized(even_engine(cylinders)); }

struct Cycle {
    EngineConfig engine;
    CycleGrid grid;
    HealthyCycle healthy;

    explicit Cycle(int cylinders)
        : engine(engine_of(cylinders)), grid(make_cycle_grid(engine, sixty_minus_two())), healthy(engine, grid) {}
};

TEST(HealthyCycle, RepeatsWithEveryFiringAndGainsNothingOverACycle) {
    for (const int cylinders : {1, 3, 4, 6, 8}) {
        const Cycle cycle(cylinders);
        for (const auto* part : {&cycle.healthy.combustion, &cycle.healthy.compression, &cycle.healthy.inertia}) {
            EXPECT_NEAR(std::accumulate(part->begin(), part->begin() + cycle.grid.bins, 0.0), 0.0, 1e-4);
            if (cycle.grid.bins % cylinders != 0) continue;
            const int apart = cycle.grid.bins / cylinders;
            for (int b = 0; b + apart < cycle.grid.bins; ++b)
                EXPECT_NEAR((*part)[static_cast<std::size_t>(b)], (*part)[static_cast<std::size_t>(b + apart)], 2e-4);
        }
    }
}

TEST(HealthyCycle, ACombustionGivesItsWorkAfterTdc) {
    const Cycle cycle(1);
    // What stands above the mean is the work less what the mean takes meanwhile, 180 of 720 degrees or so.
    double gained = 0.0;
    for (int b = 0; b < cycle.grid.bins; ++b)
        gained += std::max(static_cast<double>(cycle.healthy.combustion[static_cast<std::size_t>(b)]), 0.0);
    EXPECT_GT(gained, 0.75);
    EXPECT_LT(gained, 0.95);
    const auto peak =
        std::max_element(cycle.healthy.combustion.begin(), cycle.healthy.combustion.begin() + cycle.grid.bins);
    const int bins_after =
        place_of(cycle.grid.bins + (peak - cycle.healthy.combustion.begin()) - cycle.grid.tdc_bin[0], cycle.grid.bins);
    EXPECT_LT(bins_after * cycle.grid.bin_deg, 80.0);
}

TEST(HealthyCycle, CompressionTakesItsWorkBeforeTdcAndReturnsIt) {
    // facts: 184.1 J gross for 499.557 cm^3 at 1 bar, exponent 1.3, ratio 10 (computed from Heywood's eq. 2.6, from memory):
    // 3.685 bar of mean pressure, so 3.685 times the unit of 1 bar.
    const Cycle cycle(1);
    double taken = 0.0;
    for (int b = 0; b < cycle.grid.bins; ++b)
        taken -= std::min(static_cast<double>(cycle.healthy.compression[static_cast<std::size_t>(b)]), 0.0);
    // A bin blurs what turns about TDC, which takes up to a tenth.
    EXPECT_LT(taken, 1.841e2 / 49.9557);
    EXPECT_GT(taken, 0.9 * 1.841e2 / 49.9557);
}

TEST(HealthyCycle, IsWhatTheBinsOfARigidCrankShow) {
    // Bin by bin: one place too far the wave of an even six is turned by 72 degrees.
    const double work = 0.4;
    const double intake = 0.05;
    for (const int cylinders : {1, 3, 4, 5, 6, 8}) {
        const CrankParts parts(engine_of(cylinders));
        const HealthyCycle healthy(parts.config.engine, parts.grid);
        const CycleOfBins seen = rigid_differences(parts, all_places(work), all_places(intake));
        const double largest = *std::max_element(seen.begin(), seen.begin() + parts.grid.bins);
        for (int b = 0; b < parts.grid.bins; ++b) {
            const auto at = static_cast<std::size_t>(b);
            EXPECT_NEAR(work * static_cast<double>(healthy.combustion[at]) +
                            intake * static_cast<double>(healthy.compression[at]),
                        seen[at], 0.05 * largest)
                << cylinders << " cylinders, bin " << b;
        }
    }
}

TEST(HealthyCycle, InertiaOfFourIsASecondOrder) {
    // 4 m r^2 sin(2 angle) of each unit of energy over J (any textbook on engine dynamics; the rod adds harmonics of lambda).
    const Cycle cycle(4);
    const double share = 4.0 * 0.5 * 0.043 * 0.043 / 0.15;
    double sine = 0.0;
    double cosine = 0.0;
    for (int b = 0; b < cycle.grid.bins; ++b) {
        const double angle = to_rad((b + 1 - cycle.grid.tdc_bin[0]) * cycle.grid.bin_deg);
        const double value =
            2.0 / cycle.grid.bins * static_cast<double>(cycle.healthy.inertia[static_cast<std::size_t>(b)]);
        sine += value * std::sin(2.0 * angle);
        cosine += value * std::cos(2.0 * angle);
    }
    const double bin_rad = to_rad(cycle.grid.bin_deg);
    EXPECT_NEAR(sine, -share * bin_rad, 0.1 * share * bin_rad);
    EXPECT_NEAR(cosine, 0.0, 0.02 * share * bin_rad);
}

TEST(HealthyCycle, MassesThatNobodyTellsAreUsual) {
    EngineConfig engine = engine_of(4);
    const CycleGrid grid = make_cycle_grid(engine, sixty_minus_two());
    engine.reciprocating_kg = 0.007 * 0.15 / (0.043 * 0.043);
    engine.stroke_mm = 86.0;
    engine.inertia_kg_m2 = 0.15;
    const HealthyCycle told(engine, grid);
    engine.reciprocating_kg = kUnknown;
    const HealthyCycle untold(engine, grid);
    for (int b = 0; b < grid.bins; ++b)
        EXPECT_NEAR(untold.inertia[static_cast<std::size_t>(b)], told.inertia[static_cast<std::size_t>(b)], 1e-7F);
}

}  // namespace
}  // namespace kurbel::test
