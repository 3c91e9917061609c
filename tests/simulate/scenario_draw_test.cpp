// Ranges in scenario files, and loads as shares of the full torque.
#include <gtest/gtest.h>

#include <algorithm>
#include <set>

#include "kurbel/simulate/mean_torque.hpp"
#include "simulate/scenario_text.hpp"

namespace kurbel::simulate {
namespace {

const std::string kRanges = R"(
[scenario]
seed = { from = 1, to = 1000000, whole = true }
draw = 3
[engine]
cylinders = 4
firing_order = { one_of = [[1, 3, 4, 2], [1, 2, 4, 3]] }
bore_mm = { from = 74, to = 90 }
stroke_mm = 86.0
rod_mm = 145.0
compression_ratio = 10.0
reciprocating_kg = 0.45
inertia_kg_m2 = { from = 0.1, to = 0.2 }
[crank_wheel]
one_of = [{ positions = 60, absent = [58, 59] }, { positions = 36, absent = [35] }]
tdc1_deg = { from = 0, to = 360 }
at = { one_of = ["front", "flywheel"] }
[operation]
mode = "hold"
speed_rpm = [[0, 1000], [10, { from = 2000, to = 6000 }]]
load = 0.5
[driveline]
ratio = { from = 14, to = 3.5, as = "gear" }
shuffle_hz = { from = 2, to = 8, as = "gear" }
[[misfire]]
pattern = "random"
cylinders = [{ from = 1, to = 4, whole = true }]
rate = { from = 0.01, to = 0.05 }
)";

class ScenarioDraw : public test::ScenarioText {};

std::string replaced(std::string text, const std::string& what, const std::string& with) {
    return text.replace(text.find(what), what.size(), with);
}

TEST_F(ScenarioDraw, DrawsLieInTheirRangesAndFillThem) {
    double bore = 0.0;
    double lowest = 1e9;
    double highest = 0.0;
    std::set<int> misfiring;
    std::set<int> wheels;
    std::set<int> second;
    std::set<SensorAt> at;
    for (std::uint64_t draw = 1; draw <= 300; ++draw) {
        const Scenario s = read(kRanges, draw);
        bore += s.engine.bore_mm / 300.0;
        lowest = std::min(lowest, s.engine.bore_mm);
        highest = std::max(highest, s.engine.bore_mm);
        misfiring.insert(s.misfires.at(0).cylinders.at(0));
        wheels.insert(s.crank_wheel.teeth);
        second.insert(s.engine.firing_order[1]);
        at.insert(s.crank_wheel.at);
        // One draw for both: from (14, 2) to (3.5, 8).
        EXPECT_NEAR((14.0 - s.driveline.ratio) / 10.5, (s.driveline.shuffle_hz - 2.0) / 6.0, 1e-12);
        EXPECT_GE(s.operation.speed_rpm.at(20.0), 2000.0);
        EXPECT_LT(s.operation.speed_rpm.at(20.0), 6000.0);
    }
    // Uniform: mean 82 with a standard error of 16 / sqrt(12 * 300) = 0.27.
    EXPECT_NEAR(bore, 82.0, 1.2);
    EXPECT_GE(lowest, 74.0);
    EXPECT_LT(lowest, 75.0);
    EXPECT_LE(highest, 90.0);
    EXPECT_GT(highest, 89.0);
    EXPECT_EQ(misfiring, (std::set<int>{1, 2, 3, 4}));
    EXPECT_EQ(wheels, (std::set<int>{35, 58}));
    EXPECT_EQ(second, (std::set<int>{2, 3}));
    EXPECT_EQ(at.size(), 2U);
}

TEST_F(ScenarioDraw, TheSameDrawIsTheSameEngineAndAnotherRangeChangesNoOther) {
    const Scenario once = read(kRanges, 7);
    const Scenario again = read(kRanges, 7);
    EXPECT_EQ(once.engine.bore_mm, again.engine.bore_mm);
    EXPECT_EQ(once.seed, again.seed);
    EXPECT_NE(once.engine.bore_mm, read(kRanges, 8).engine.bore_mm);
    const Scenario more = read(replaced(kRanges, "stroke_mm = 86.0", "stroke_mm = { from = 80, to = 90 }"), 7);
    EXPECT_EQ(more.engine.bore_mm, once.engine.bore_mm);
    EXPECT_EQ(more.seed, once.seed);
    EXPECT_NE(more.engine.stroke_mm, 86.0);
    // Without a number from the caller, the file's own counts.
    EXPECT_EQ(read(kRanges).engine.bore_mm, read(kRanges, 3).engine.bore_mm);
}

TEST_F(ScenarioDraw, AWrittenDrawIsReadAsTheSameScenario) {
    write(kRanges);
    const Scenario drawn = read_scenario(path_.string(), 11);
    const std::string text = drawn_scenario(path_.string(), 11);
    EXPECT_EQ(text.find("from"), std::string::npos) << text;
    EXPECT_EQ(text.find("one_of"), std::string::npos) << text;
    const Scenario again = read(text, 99);  // nothing is left to draw
    EXPECT_EQ(again.engine.bore_mm, drawn.engine.bore_mm);
    EXPECT_EQ(again.engine.inertia_kg_m2, drawn.engine.inertia_kg_m2);
    EXPECT_EQ(again.crank_wheel.tdc1_deg, drawn.crank_wheel.tdc1_deg);
    EXPECT_EQ(again.crank_wheel.teeth, drawn.crank_wheel.teeth);
    EXPECT_EQ(again.driveline.ratio, drawn.driveline.ratio);
    EXPECT_EQ(again.misfires.at(0).rate, drawn.misfires.at(0).rate);
    EXPECT_EQ(again.seed, drawn.seed);
}

TEST_F(ScenarioDraw, RangesThatAreNoneAreRefused) {
    const auto says = [&](const std::string& what, const std::string& with, const char* word) {
        const std::string message = complaint(replaced(kRanges, what, with));
        return message.find(word) != std::string::npos ? std::string() : message;
    };
    const std::string bore = "{ from = 74, to = 90 }";
    EXPECT_EQ(says(bore, "{ from = 74, to = \"x\" }", "engine.bore_mm.to"), "");
    EXPECT_EQ(says(bore, "{ from = 74, to = 90, step = 2 }", "engine.bore_mm.step"), "");
    EXPECT_EQ(says(bore, "{ from = 74 }", "engine.bore_mm"), "");
    EXPECT_EQ(says(bore, "{ one_of = [] }", "engine.bore_mm.one_of"), "");
    EXPECT_EQ(says(bore, "{ one_of = 3 }", "engine.bore_mm.one_of"), "");
    EXPECT_EQ(says(bore, "{ from = 1.2, to = 1.8, whole = true }", "whole number"), "");
    EXPECT_EQ(says(bore, "{ from = 0, to = 1e300, whole = true }", "too wide"), "");
    EXPECT_EQ(says("ratio = {", "ratio = { one_of = [1, 2], step = 3 }\nx = {", "driveline.ratio.step"), "");
    EXPECT_EQ(says(bore, "{ from = -5, to = -4 }", "engine.bore_mm"), "");
}

TEST_F(ScenarioDraw, LoadAsAShareOfTheFullTorque) {
    const auto with = [&](const char* share) {
        return read(replaced(kRanges, "load = 0.5", std::string("load_share = ") + share), 5);
    };
    const Scenario none = with("0.0");
    const Scenario half = with("0.5");
    const Scenario full = with("1.0");
    const CylinderModel cylinder(half.engine, half.combustion, half.gas_exchange);
    const MeanTorque mean(half, cylinder, Friction(half));
    for (const double t : {0.0, 10.0}) {
        const double speed = half.operation.speed_rpm.at(t) * portable::kPi / 30.0;
        EXPECT_NEAR(mean.torque_nm(none.operation.load.at(t), speed), 0.0, 0.1) << t;
        EXPECT_NEAR(full.operation.load.at(t), 1.0, 1e-9);
        EXPECT_NEAR(mean.torque_nm(half.operation.load.at(t), speed), 0.5 * mean.torque_nm(1.0, speed), 0.1);
    }
    const Scenario step = with("[[0, 0.2], [5, 0.2], [5, 0.8]]");
    EXPECT_LT(step.operation.load.at(4.999), 0.5);
    EXPECT_GT(step.operation.load.at(5.0), 0.6);
    EXPECT_NE(complaint(replaced(kRanges, "load = 0.5", "load = 0.5\nload_share = 0.5")).find("load_share"),
              std::string::npos);
}

}  // namespace
}  // namespace kurbel::simulate
