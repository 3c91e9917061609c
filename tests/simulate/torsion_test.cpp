#include "kurbel/simulate/torsion.hpp"

#include <gtest/gtest.h>

#include "kurbel/simulate/crank.hpp"
#include "simulate/engines.hpp"

namespace kurbel::simulate {
namespace {

TEST(TorsionChain, TwoMassesHaveTheTextbookFrequency) {
    TorsionChain chain;
    chain.masses = 2;
    chain.inertia_kg_m2 = {0.05, 0.15};
    chain.stiffness_nm_rad = {3e4};
    EXPECT_NEAR(chain.mode_rad_s(1), std::sqrt(3e4 * (1.0 / 0.05 + 1.0 / 0.15)), 1e-6);
    EXPECT_EQ(chain.mode_rad_s(0), 0.0);
    EXPECT_EQ(chain.mode_rad_s(2), 0.0);
}

TEST(CrankLayout, FirstModeOfTheFreeCrankIsTheOneAskedFor) {
    Scenario s = test::inline_engine({1, 5, 3, 6, 2, 4});
    s.crank.first_torsion_hz = 271.0;
    const CrankLayout layout = make_crank_layout(s);
    TorsionChain chain = layout.chain;
    for (int c = 0; c < 6; ++c)
        chain.inertia_kg_m2[static_cast<std::size_t>(layout.mass_of_cylinder[static_cast<std::size_t>(c)])] +=
            mean_reciprocating_inertia(s.engine);
    EXPECT_NEAR(chain.mode_rad_s(1) / (2.0 * portable::kPi), 271.0, 1e-6);
    EXPECT_NEAR(layout.chain.total_inertia_kg_m2(), s.engine.inertia_kg_m2, 1e-12);
    EXPECT_FALSE(layout.in_gear());
}

TEST(CrankLayout, PairsOfCylindersShareTheirThrow) {
    Scenario s = test::inline_engine({1, 4, 2, 5, 3, 6});
    for (int c = 0; c < 6; ++c) s.engine.throw_number[static_cast<std::size_t>(c)] = c % 3 + 1;
    const CrankLayout layout = make_crank_layout(s);
    EXPECT_EQ(layout.throws, 3);
    EXPECT_EQ(layout.chain.masses, 5);
    EXPECT_EQ(layout.mass_of_cylinder[4], 2);
}

TEST(CrankLayout, DrivelineShufflesNearItsFrequency) {
    Scenario s = test::in_gear(test::inline_four(), 2000.0, 0.5);
    s.driveline.shuffle_hz = 4.0;
    s.driveline.clutch_hz = 60.0;
    const CrankLayout layout = make_crank_layout(s);
    ASSERT_TRUE(layout.in_gear());
    TorsionChain chain = layout.chain;
    for (int c = 0; c < 4; ++c)
        chain.inertia_kg_m2[static_cast<std::size_t>(c) + 1] += mean_reciprocating_inertia(s.engine);
    EXPECT_NEAR(chain.mode_rad_s(1) / (2.0 * portable::kPi), 4.0, 0.1);
    EXPECT_NEAR(chain.mode_rad_s(2) / (2.0 * portable::kPi), 60.0, 3.0);
}

}  // namespace
}  // namespace kurbel::simulate
