// The TOML tables: what is accepted, what is refused, and that every refusal names file, line, key and cause.
#include <gtest/gtest.h>

#include <string>

#include "../src/read/config_toml.hpp"
#include "kurbel/read/input_error.hpp"

namespace {

using namespace kurbel;
using namespace kurbel::read;

const std::string kEngine = "[engine]\ncylinders = 4\nfiring_order = [1, 3, 4, 2]\n";
const std::string kWheel = "[crank_wheel]\npositions = 60\nabsent = [58, 59]\ntdc1_deg = 84\n";

Config read_all(const std::string& text) {
    const TomlFile file = parse_toml_text(text, "r.toml");
    Config config;
    config.engine = read_engine(file);
    config.crank_wheel = read_crank_wheel(file);
    config.cam_wheel = read_cam_wheel(file, config.engine);
    config.timer = read_timer(file);
    return config;
}

std::string complaint(const std::string& text) {
    try {
        (void)read_all(text);
    } catch (const InputError& error) {
        return error.what();
    }
    return "accepted";
}

TEST(ConfigToml, FillsDefaults) {
    const Config config = read_all(kEngine + kWheel);
    EXPECT_EQ(config.engine.strokes, 4);
    EXPECT_EQ(config.engine.firing_order[1], 3);
    EXPECT_EQ(config.engine.firing_tdc_deg[3], 540.0);
    EXPECT_TRUE(config.engine.bore_mm != config.engine.bore_mm);
    EXPECT_EQ(config.crank_wheel.teeth, 58);
    EXPECT_EQ(config.crank_wheel.at, SensorAt::unknown);
    EXPECT_EQ(config.cam_wheel.edges, 0);
    EXPECT_EQ(config.timer.hz, 1e9);
    EXPECT_EQ(config.timer.bits, 0);
}

TEST(ConfigToml, ReadsEveryKeyOfTheContractAndWritesItBack) {
    const std::string text =
        "[engine]\nstrokes = 4\ncylinders = 2\nfiring_order = [1, 2]\nfiring_tdc_deg = [0, 270.5]\nbore_mm = 86.0\n"
        "stroke_mm = 86\nrod_mm = 145.25\ncompression_ratio = 10.0\nreciprocating_kg = 0.45\ninertia_kg_m2 = 0.16\n"
        "throw = [1, 2]\nbank = [1, 2]\n[crank_wheel]\ntooth_angles_deg = [0.0, 10.1, 200]\ntdc1_deg = 12.5\n"
        "at = \"flywheel\"\n[cam_wheel]\nedges_deg = [410.0, 50]\n[timer]\nhz = 1000000\nbits = 16\n";
    const Config config = read_all(text);
    EXPECT_EQ(config.cam_wheel.edge_deg[0], 50.0) << "the order of cam edges in the file carries no meaning";
    const std::string written = to_toml(config);
    const Config again = read_all(written);
    EXPECT_EQ(to_toml(again), written);
    EXPECT_EQ(again.engine.rod_mm, 145.25);
    EXPECT_EQ(again.engine.bank[1], 2);
    EXPECT_EQ(again.engine.throw_number[1], 2);
    EXPECT_EQ(again.crank_wheel.angle_deg[1], 10.1F);
    EXPECT_EQ(again.crank_wheel.at, SensorAt::flywheel);
    EXPECT_EQ(again.timer.bits, 16);
}

TEST(ConfigToml, WritesAbsentPlacesBack) {
    const Config config = read_all(kEngine + "[crank_wheel]\npositions = 36\nabsent = [0, 17, 18]\ntdc1_deg = 1\n");
    EXPECT_NE(to_toml(config).find("absent = [0, 17, 18]"), std::string::npos) << to_toml(config);
}

TEST(ConfigToml, AcceptsByteOrderMarkAndWindowsLineEnds) {
    std::string text = "\xEF\xBB\xBF";
    for (const char letter : kEngine + kWheel) text += letter == '\n' ? std::string("\r\n") : std::string(1, letter);
    EXPECT_EQ(read_all(text).engine.cylinders, 4);
}

struct Refusal {
    const char* name;
    std::string text;
    std::string message;
};

class ConfigTomlRefuses : public testing::TestWithParam<Refusal> {};

TEST_P(ConfigTomlRefuses, WithFileLineAndCause) { EXPECT_EQ(complaint(GetParam().text), GetParam().message); }

INSTANTIATE_TEST_SUITE_P(
    Each, ConfigTomlRefuses,
    testing::Values(Refusal{"UnknownKey", kEngine + "bore = 86\n" + kWheel,
                            "r.toml:4: unknown key engine.bore; the nearest known one is engine.bore_mm"},
                    Refusal{"UnknownWheelKey", kEngine + kWheel + "tdc_deg = 3\n",
                            "r.toml:8: unknown key crank_wheel.tdc_deg; the nearest known one is crank_wheel.tdc1_deg"},
                    Refusal{"NoEngine", kWheel, "r.toml: table [engine] is missing"},
                    Refusal{"NoWheel", kEngine, "r.toml: table [crank_wheel] is missing"},
                    Refusal{"EngineIsNoTable", "engine = 4\n", "r.toml:1: engine must be a table: [engine]"},
                    Refusal{"NoOrder", "[engine]\ncylinders = 4\n" + kWheel,
                            "r.toml:1: engine.firing_order: is missing"},
                    Refusal{"ImpossibleOrder", "[engine]\ncylinders = 4\nfiring_order = [1, 3, 3, 2]\n" + kWheel,
                            "r.toml:3: engine.firing_order: a cylinder is named twice"},
                    Refusal{"OrderTooShort", "[engine]\ncylinders = 4\nfiring_order = [1, 3, 2]\n" + kWheel,
                            "r.toml:3: engine.firing_order: must have one entry for each of 4 cylinders, but has 3"},
                    Refusal{"OrderNotFromOne", "[engine]\ncylinders = 2\nfiring_order = [2, 1]\n" + kWheel,
                            "r.toml:3: engine.firing_order: must start with cylinder 1"},
                    Refusal{"OrderBeyondInt", "[engine]\ncylinders = 2\nfiring_order = [1, 4294967298]\n" + kWheel,
                            "r.toml:3: engine.firing_order: is out of range"},
                    Refusal{"TextForNumber", kEngine + "bore_mm = \"86\"\n" + kWheel,
                            "r.toml:4: engine.bore_mm: must be a finite number"},
                    Refusal{"NotANumber", kEngine + "bore_mm = nan\n" + kWheel,
                            "r.toml:4: engine.bore_mm: must be a finite number"},
                    Refusal{"BoreInMetres", kEngine + "bore_mm = 0.086\n" + kWheel,
                            "r.toml:4: engine.bore_mm: must lie in 10 to 1200"},
                    Refusal{"ThrowZero", kEngine + "throw = [0, 1, 2, 3]\n" + kWheel,
                            "r.toml:4: engine.throw: each entry must lie in 1 to cylinders"},
                    Refusal{"AbsentOutside", kEngine + "[crank_wheel]\npositions = 60\nabsent = [60]\ntdc1_deg = 84\n",
                            "r.toml:6: crank_wheel.absent: each place must lie in 0 to positions - 1"},
                    Refusal{"BothForms", kEngine + kWheel + "tooth_angles_deg = [0, 10]\n",
                            "r.toml:8: crank_wheel.tooth_angles_deg: cannot stand beside positions and absent"},
                    Refusal{"SensorPlace", kEngine + kWheel + "at = \"rear\"\n",
                            "r.toml:8: crank_wheel.at: must be \"front\" or \"flywheel\""},
                    Refusal{"NoTdc", kEngine + "[crank_wheel]\npositions = 60\nabsent = [59]\n",
                            "r.toml:4: crank_wheel.tdc1_deg: is missing"},
                    Refusal{"TdcInCycle", kEngine + "[crank_wheel]\npositions = 60\nabsent = [59]\ntdc1_deg = 444\n",
                            "r.toml:7: crank_wheel.tdc1_deg: must lie in 0 to 360"},
                    Refusal{"CamTwice", kEngine + kWheel + "[cam_wheel]\nedges_deg = [50, 50]\n",
                            "r.toml:9: cam_wheel.edges_deg: names an edge twice"},
                    Refusal{"CamOutside", kEngine + kWheel + "[cam_wheel]\nedges_deg = [-5]\n",
                            "r.toml:9: cam_wheel.edges_deg: must lie within the engine cycle"},
                    Refusal{"NoHz", kEngine + kWheel + "[timer]\nbits = 16\n", "r.toml:8: timer.hz: is missing"},
                    Refusal{"OddBits", kEngine + kWheel + "[timer]\nhz = 1000000\nbits = 70\n",
                            "r.toml:10: timer.bits: must lie in 8 to 62"},
                    Refusal{"EntryNotWhole", "[engine]\ncylinders = 2\nfiring_order = [1, 2.5]\n" + kWheel,
                            "r.toml:3: engine.firing_order: must be a list of whole numbers; entry 2 is not"}),
    [](const testing::TestParamInfo<Refusal>& refusal) { return refusal.param.name; });

TEST(ConfigToml, SyntaxErrorNamesTheLine) {
    const std::string message = complaint("[engine]\ncylinders = 4\nfiring_order = [1, 3\n\n[x]\n");
    EXPECT_EQ(message.rfind("r.toml:", 0), 0U) << message;
    EXPECT_NE(message.find(":5: "), std::string::npos) << message;
}

TEST(ConfigToml, NothingButAKeyMayBeginATableHeader) {
    for (const char* header : {"[+a]", "[,a]", "[.a]", "[=a]", "[{a]", "[#a]", "[\na]", "[[+a]]"}) {
        const std::string message = complaint(std::string("x = 1\n") + header + "\ny = 2\n");
        EXPECT_EQ(message.rfind("r.toml:2: ", 0), 0U) << header << ": " << message;
    }
}

TEST(ConfigToml, MissingFileIsNamed) {
    try {
        (void)parse_toml("/nonexistent/recording.toml");
        FAIL();
    } catch (const InputError& error) {
        EXPECT_EQ(std::string(error.what()), "/nonexistent/recording.toml: is missing");
    }
}

}  // namespace
