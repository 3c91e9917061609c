// The work that a healthy firing should do, from geometry and load, and how misfires correct a guess.
#include "kurbel/stage/expected_work.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <vector>

#include "support/even_engine.hpp"

namespace kurbel::test {
namespace {

EngineConfig half_litre() {
    EngineConfig engine = even_engine(4);
    engine.bore_mm = 86.0;
    engine.stroke_mm = 86.0;
    engine.inertia_kg_m2 = 0.16;
    return engine;
}

TEST(ExpectedWork, IsMeanPressureTimesDisplacementOverInertia) {
    // 86 mm bore and stroke: pi/4 * 0.086^3 = 4.99556e-4 m^3; at 11 bar 549.51 J; over 0.16 kg m^2 3434.4 rad^2/s^2.
    ExpectedWork<double> expected;
    expected.begin(half_litre());
    EXPECT_NEAR(expected.at_full_charge(), 3434.4, 0.5);
    // A line in load that vanishes at 0.09.
    EXPECT_NEAR(expected.at(0.59), 3434.4 * 0.5, 0.5);
    EXPECT_NEAR(expected.at(1.59), 3434.4 * 1.5, 1.0);
    EXPECT_TRUE(expected.known(true));
    EXPECT_FALSE(expected.known(false));
}

TEST(ExpectedWork, AllOfADieselsFuelWorks) {
    EngineConfig engine = half_litre();
    engine.compression_ratio = 16.5;
    ExpectedWork<double> expected;
    expected.begin(engine);
    EXPECT_NEAR(expected.at(kUnknown), 3434.4 * 0.26, 0.5) << "nobody tells the fuel";
    expected.expect_load();
    EXPECT_NEAR(expected.at(0.5), 3434.4 * 0.5, 0.5);
    EXPECT_NEAR(expected.intake_over_work(0.5), 1.0 / (11.0 * 0.5), 1e-9) << "nothing throttles the air";
    EXPECT_NEAR(expected.intake_over_work(1.5), 1.5 / (11.0 * 1.5), 1e-9) << "and boost comes with the load";
    expected.reset();
    EXPECT_NEAR(expected.at(0.59), 3434.4 * 0.5, 0.5) << "another stream may have no channel";
}

TEST(ExpectedWork, NeverVanishesNorTurnsNegative) {
    ExpectedWork<double> expected;
    expected.begin(half_litre());
    EXPECT_NEAR(expected.at(0.0), 3434.4 * 0.06, 0.1);
    EXPECT_EQ(expected.at(0.14), expected.at(0.0));
    EXPECT_GT(expected.at(0.16), expected.at(0.0));
}

TEST(ExpectedWork, AChannelOfTorqueStandsNearNothingWhereTheEngineTurnsItself) {
    ExpectedWork<double> expected;
    expected.begin(half_litre());
    for (int cycle = 1; cycle < 4; ++cycle) expected.keeps_speed(0.0, cycle);
    EXPECT_NEAR(expected.at(0.0), 3434.4 * 0.06, 0.1) << "a start is no idle";
    for (int cycle = 4; cycle < 100; ++cycle) expected.keeps_speed(cycle % 2 != 0 ? 0.0 : 0.01, cycle);
    // 1.4 bar of 11, and as much more at all other loads.
    EXPECT_NEAR(expected.at(0.0), 3434.4 * 0.13, 3434.4 * 0.005);
    EXPECT_NEAR(expected.at(0.5) - expected.at(0.0), 3434.4 * 0.5, 1.0);
    EXPECT_NEAR(expected.useful_on_line(0.0), 0.13, 0.005);
    EXPECT_EQ(expected.at(kUnknown), ExpectedWork<double>::useful_charge(kUnknown) * expected.at_full_charge());
    expected.restart();
    EXPECT_NEAR(expected.useful_on_line(0.0), -0.09, 1e-9);
}

TEST(ExpectedWork, IsMoreIfTheChannelTellsTorque) {
    ExpectedWork<double> expected;
    expected.begin(half_litre());
    // A channel of torque stands at nothing where 0.13 of full charge turn the engine itself, one of charge at 0.09 where none does.
    EXPECT_NEAR(expected.if_torque_is_told(0.2), 0.33 / 0.11, 1e-9);
    EXPECT_NEAR(expected.if_torque_is_told(1.0), 1.13 / 0.91, 1e-9);
    EXPECT_EQ(expected.if_torque_is_told(kUnknown), 1.0);
    // What misfires have shown needs no other guess.
    for (int i = 0; i < 200; ++i) expected.learn_size(3.0, 1.0);
    EXPECT_NEAR(expected.if_torque_is_told(0.2), 1.0, 0.05);
}

TEST(ExpectedWork, ManifoldPressureAtIdleIsBelievedAndAFootThatLeftThePedalHardlyCounts) {
    ExpectedWork<double> expected;
    expected.begin(half_litre());
    for (int cycle = 1; cycle < 200; ++cycle) expected.keeps_speed(0.27, cycle);
    EXPECT_NEAR(expected.at(0.27), 3434.4 * 0.18, 0.1);
    for (int cycle = 200; cycle < 205; ++cycle) expected.keeps_speed(0.12, cycle);
    EXPECT_LT(expected.at(0.27), 3434.4 * 0.19);
}

TEST(ExpectedWork, WithoutALoadChannelTheLoadIsGuessed) {
    ExpectedWork<double> expected;
    expected.begin(half_litre());
    EXPECT_NEAR(expected.at(kUnknown), expected.at(0.35), 1e-9);
}

TEST(ExpectedWork, WithoutGeometryTheSizeIsGuessedPerLitre) {
    // Inertia in proportion to displacement leaves pressure over 75 kg/m per cylinder.
    ExpectedWork<double> expected;
    expected.begin(even_engine(4));
    EXPECT_NEAR(expected.at_full_charge(), 11.0e5 / (75.0 * 4.0), 1e-3);
    EXPECT_FALSE(expected.known(true));
    EngineConfig part = half_litre();
    part.inertia_kg_m2 = kUnknown;
    expected.begin(part);
    EXPECT_NEAR(expected.at_full_charge(), 11.0e5 / (75.0 * 4.0), 1e-3);
    EXPECT_FALSE(expected.known(true));
}

TEST(ExpectedWork, IntakeShareIsIntakeOverIndicatedPressure) {
    using Work = ExpectedWork<double>;
    EXPECT_NEAR(Work::intake_share(1.0), 1.0 / (11.0 * 0.91), 1e-9);
    EXPECT_NEAR(Work::intake_share(0.35), 0.35 / (11.0 * 0.26), 1e-9);
    EXPECT_EQ(Work::intake_share(kUnknown), Work::intake_share(0.35));
    EXPECT_NEAR(Work::intake_share(0.0), 0.1 / (11.0 * 0.06), 1e-9);
}

/// What is expected after 60 misfires that lose this many times the work that was guessed, one after another, over that guess.
double learned_from(const std::vector<double>& losses) {
    ExpectedWork<double> expected;
    expected.begin(even_engine(4));
    const double guess = expected.at(0.5);
    for (std::size_t n = 0; n < 60; ++n) expected.learn_size(losses[n % losses.size()] * guess / expected.at(0.5), 1.0);
    const double learned = expected.at(0.5) / guess;
    expected.restart();
    EXPECT_EQ(expected.at(0.5), guess);
    return learned;
}

TEST(ExpectedWork, MisfiresThatAreAlikeCorrectAWrongGuess) {
    EXPECT_NEAR(learned_from({1.7, 1.9}), 1.8, 0.09);
    EXPECT_NEAR(learned_from({4.5}), 4.5, 0.3);
    EXPECT_NEAR(learned_from({0.3, 0.36}), 0.33, 0.03);
}

TEST(ExpectedWork, WeakBurnsThatAreNoTwoAlikeDoNot) {
    EXPECT_NEAR(learned_from({0.25, 0.3, 0.4, 0.55, 0.85}), 1.0, 0.05);
}

TEST(ExpectedWork, IsRescaledForThisStream) {
    ExpectedWork<double> expected;
    expected.begin(even_engine(4));
    const double guess = expected.at(0.5);
    expected.rescale(3.0);
    expected.restart();
    EXPECT_NEAR(expected.at(0.5), 3.0 * guess, 1e-9 * guess);
    expected.reset();
    EXPECT_EQ(expected.at(0.5), guess) << "another stream may be of another engine";
}

TEST(ExpectedWork, ALittleTrustChangesLittleAndNothingRunsAway) {
    ExpectedWork<double> expected;
    expected.begin(even_engine(4));
    const double guess = expected.at(0.5);
    expected.learn_size(4.0, 0.0);
    EXPECT_EQ(expected.at(0.5), guess);
    expected.learn_size(1.0, 1.0);
    EXPECT_EQ(expected.at(0.5), guess);
    for (int n = 0; n < 10000; ++n) expected.learn_size(100.0, 1.0);
    EXPECT_NEAR(expected.at(0.5), 10.0 * guess, 1e-6 * guess);
    for (int n = 0; n < 10000; ++n) expected.learn_size(0.0, 1.0);
    EXPECT_GE(expected.at(0.5), 0.1 * guess);
    EXPECT_LE(expected.at(0.5), guess);
}

}  // namespace
}  // namespace kurbel::test
