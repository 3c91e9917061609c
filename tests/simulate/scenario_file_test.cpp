#include "kurbel/simulate/scenario_file.hpp"

#include <gtest/gtest.h>

#include "kurbel/simulate/portable_math.hpp"
#include "simulate/scenario_text.hpp"

namespace kurbel::simulate {
namespace {

const std::string kEngine = R"(
[engine]
cylinders = 4
firing_order = [1, 3, 4, 2]
bore_mm = 86.0
stroke_mm = 86.0
rod_mm = 145.0
compression_ratio = 10.0
reciprocating_kg = 0.45
inertia_kg_m2 = 0.16
[crank_wheel]
positions = 36
absent = [35]
tdc1_deg = 84.0
)";

class ScenarioFile : public test::ScenarioText {};

TEST_F(ScenarioFile, AnEngineAndAWheelAreEnough) {
    const Scenario s = read(kEngine);
    EXPECT_EQ(s.engine.cylinders, 4);
    EXPECT_EQ(s.crank_wheel.teeth, 35);
    EXPECT_FALSE(s.has_timer);
    EXPECT_EQ(s.operation.mode, Operation::neutral);
    EXPECT_TRUE(s.misfires.empty());
}

TEST_F(ScenarioFile, EveryTableReachesItsPlace) {
    const Scenario s = read(R"([scenario]
seed = 42
seconds = 12.5
step_us = 20
start_deg = 90
)" + kEngine + R"(
[timer]
hz = 1000000
bits = 16
[combustion]
scatter = 0.05
cylinder_factor = [1.0, 0.9, 1.0, 1.1]
leak_mm2 = [0, 0.5]
throttled = false
[gas_exchange]
overlap_deg = 30
[friction]
constant_bar = 1.0
[crank]
first_torsion_hz = 333
[operation]
mode = "hold"
speed_rpm = [[0, 1000], [10, 3000]]
load = 0.5
[driveline]
ratio = 7.5
[[misfire]]
pattern = "burst"
cylinders = [2, 4]
rate = 0.01
length = 6
severity = 0.7
[[misfire]]
pattern = "continuous"
[[fuel_cut]]
cylinder = 3
from_s = 2
to_s = 4
[wheel_error]
jitter_us = 2.5
[channels]
coolant_c = [[0, 20], [60, 80]]
)");
    EXPECT_EQ(s.seed, 42U);
    EXPECT_EQ(s.seconds, 12.5);
    EXPECT_DOUBLE_EQ(s.step_s, 20e-6);
    EXPECT_TRUE(s.has_timer);
    EXPECT_EQ(s.combustion.cylinder_factor.size(), 4U);
    EXPECT_EQ(s.combustion.leak_mm2[1], 0.5);
    EXPECT_FALSE(s.combustion.throttled);
    EXPECT_EQ(s.operation.mode, Operation::hold);
    EXPECT_DOUBLE_EQ(s.operation.speed_rpm.at(5.0), 2000.0);
    EXPECT_DOUBLE_EQ(s.operation.speed_rpm.slope_at(5.0), 200.0);
    EXPECT_DOUBLE_EQ(s.operation.speed_rpm.at(50.0), 3000.0);
    ASSERT_EQ(s.misfires.size(), 2U);
    EXPECT_EQ(s.misfires[0].pattern, MisfirePattern::burst);
    EXPECT_EQ(s.misfires[0].length, 6);
    EXPECT_EQ(s.misfires[0].severity, 0.7);
    EXPECT_EQ(s.misfires[1].pattern, MisfirePattern::continuous);
    ASSERT_EQ(s.fuel_cuts.size(), 1U);
    EXPECT_EQ(s.fuel_cuts[0].cylinder, 3);
    EXPECT_DOUBLE_EQ(s.wheel_error.jitter_s, 2.5e-6);
    EXPECT_DOUBLE_EQ(s.channels.coolant_c.at(30.0), 50.0);
}

TEST_F(ScenarioFile, UnknownKeysAreNamedWithTheirLine) {
    const std::string message = complaint("[scenario]\nseconds = 5\nsede = 3\n" + kEngine);
    EXPECT_NE(message.find(path_.string() + ":3:"), std::string::npos) << message;
    EXPECT_NE(message.find("scenario.sede"), std::string::npos) << message;
    EXPECT_NE(message.find("seed"), std::string::npos) << message;
    EXPECT_NE(complaint(kEngine + "[misfires]\nrate = 1\n").find("misfires"), std::string::npos);
    EXPECT_NE(complaint(kEngine + "[[misfire]]\npattern = \"random\"\nrat = 0.1\n").find("misfire.rat"),
              std::string::npos);
}

TEST_F(ScenarioFile, WrongValuesAreNamed) {
    const auto names = [&](const std::string& tail, const char* word) {
        const std::string message = complaint(kEngine + tail);
        return message.find(word) != std::string::npos ? std::string() : message;
    };
    EXPECT_EQ(names("[combustion]\nscatter = -1\n", "combustion.scatter"), "");
    EXPECT_EQ(names("[combustion]\nscatter = \"big\"\n", "combustion.scatter"), "");
    EXPECT_EQ(names("[combustion]\nleak_mm2 = [0, 0, 0, 0, 1]\n", "combustion.leak_mm2"), "");
    EXPECT_EQ(names("[operation]\nmode = \"flying\"\n", "neutral, hold, road, cranking"), "");
    EXPECT_EQ(names("[operation]\nmode = \"hold\"\n", "operation"), "");
    EXPECT_EQ(names("[operation]\nload = 0.5\n", "governor"), "");
    EXPECT_EQ(names("[operation]\nspeed_rpm = [[5, 1000], [1, 2000]]\n", "order of time"), "");
    EXPECT_EQ(names("[[misfire]]\nrate = 0.5\n", "misfire.pattern"), "");
    EXPECT_EQ(names("[[misfire]]\npattern = \"random\"\ncylinders = [5]\n", "misfire.cylinders"), "");
    EXPECT_EQ(names("misfire = 3\n", "unknown key"), "");
    EXPECT_EQ(names("[crank]\npulley_share = 0.5\nthrows_share = 0.6\n", "crank.throws_share"), "");
    EXPECT_NE(complaint("[engine]\ncylinders = 1\nfiring_order = [1]\n[crank_wheel]\npositions = 12\nabsent = "
                        "[11]\ntdc1_deg = 0\n")
                  .find("engine"),
              std::string::npos);
}

TEST_F(ScenarioFile, AMissingFileIsAnInputError) {
    EXPECT_THROW(static_cast<void>(read_scenario("/nowhere/at/all.toml")), read::InputError);
}

TEST_F(ScenarioFile, StandsOnAnEngineFileAndOverridesIt) {
    const std::filesystem::path engine = path_.parent_path() / "kurbel-engine-beneath.toml";
    std::ofstream(engine) << kEngine << "[crank]\nfirst_torsion_hz = 333.0\ndamping_ratio = 0.01\n";
    const std::string name = "engine_file = \"kurbel-engine-beneath.toml\"\n";
    const Scenario s = read(name + "[crank]\ndamping_ratio = 0.03\n[scenario]\nseconds = 7\n");
    EXPECT_EQ(s.engine.cylinders, 4);
    EXPECT_EQ(s.crank_wheel.teeth, 35);
    EXPECT_EQ(s.crank.first_torsion_hz, 333.0);
    EXPECT_EQ(s.crank.damping_ratio, 0.03);
    EXPECT_EQ(s.seconds, 7.0);
    // Teeth of its own replace those of the engine file, however they are told; the rest of the wheel stays.
    const Scenario listed = read(name + "[crank_wheel]\ntooth_angles_deg = [0, 90, 180, 300]\n");
    EXPECT_EQ(listed.crank_wheel.teeth, 4);
    EXPECT_EQ(listed.crank_wheel.tdc1_deg, 84.0);

    // Complaints name the file that the fault stands in.
    std::ofstream(engine) << kEngine << "[crank]\nfirst_torsion_hz = 1\n";
    EXPECT_NE(complaint(name).find("kurbel-engine-beneath.toml:16"), std::string::npos) << complaint(name);
    std::ofstream(engine) << kEngine << "[crank]\ntypo = 1\n";
    EXPECT_NE(complaint(name).find("kurbel-engine-beneath.toml:16"), std::string::npos) << complaint(name);
    EXPECT_NE(complaint(name + "[crank]\ntypo = 1\n").find("OnAnEngineFileAndOverridesIt.toml:3"), std::string::npos);
    std::ofstream(engine) << name << kEngine;
    EXPECT_NE(complaint(name).find("cannot name another"), std::string::npos);
    std::filesystem::remove(engine);
    EXPECT_NE(complaint(name).find("kurbel-engine-beneath.toml"), std::string::npos);
}

TEST_F(ScenarioFile, ReadsGearsDrivelineAndRoad) {
    const std::string geared = kEngine + R"(
[gearbox]
ratios = [3.5, 2.0, 1.4]
final_drive = 4.0
gear = [[0, 1], [2, 2]]
[tyre]
[operation]
mode = "road"
speed_kmh = [[0, 20], [4, 40]]
[road]
kind = "random"
[[accessory]]
torque_nm = 12
from_s = 3
)";
    const Scenario s = read(geared);
    EXPECT_TRUE(s.tyre.on);
    EXPECT_EQ(s.road.kind, RoadKind::random);
    ASSERT_EQ(s.gearbox.gear.size(), 2U);
    EXPECT_EQ(s.gearbox.gear[1].second, 2);
    EXPECT_EQ(s.accessories.at(0).torque_nm, 12.0);
    // 30 km/h at 2 s on wheels of 0.31 m are 256.7 turns a minute: by 14 before the change, by 8 after it.
    const double wheel_rpm = 30.0 / 3.6 / 0.31 * 30.0 / portable::kPi;
    EXPECT_NEAR(s.operation.speed_rpm.at(1.999999), 14.0 * wheel_rpm, 0.01);
    EXPECT_NEAR(s.operation.speed_rpm.at(2.000001), 8.0 * wheel_rpm, 0.01);

    EXPECT_NE(complaint(kEngine + "[tyre]\n").find("gearbox"), std::string::npos);
    EXPECT_NE(complaint(kEngine + "[operation]\nspeed_kmh = 30\n").find("speed_kmh"), std::string::npos);
    EXPECT_NE(complaint(kEngine + "[gearbox]\nratios = [3, 2]\n[road]\nkind = \"random\"\n").find("tyre"),
              std::string::npos);
    EXPECT_NE(complaint(kEngine + "[gearbox]\nratios = [3, 2]\ngear = 3\n").find("gearbox.gear"), std::string::npos);
    EXPECT_NE(complaint(kEngine + "[gearbox]\nratios = [3, 2]\ngear = 1.5\n").find("whole"), std::string::npos);
    EXPECT_NE(complaint(kEngine + "[gearbox]\n").find("ratios"), std::string::npos);
    EXPECT_NE(complaint(kEngine + "[dual_mass_flywheel]\nhz = 10\n").find("secondary"), std::string::npos);
}

}  // namespace
}  // namespace kurbel::simulate
