// kurbel.h without a handle: versions, messages, names and configuration.
#include <gtest/gtest.h>

#include <array>
#include <climits>
#include <cmath>
#include <cstddef>
#include <cstring>
#include <limits>
#include <string>
#include <vector>

#include "c_api/support.hpp"
#include "kurbel/core/config.hpp"

namespace {

using kurbel_test::inline4;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kInfinity = std::numeric_limits<double>::infinity();

TEST(CLibrary, VersionIsTheHeaders) {
    EXPECT_STREQ(kurbel_version(), KURBEL_VERSION_STRING);
    EXPECT_EQ(kurbel_version_number(),
              KURBEL_VERSION_MAJOR * 10000 + KURBEL_VERSION_MINOR * 100 + KURBEL_VERSION_PATCH);
}

TEST(CLibrary, MessageIsTotal) {
    for (int code = -200; code <= 200; ++code) {
        ASSERT_NE(kurbel_status_message(code), nullptr);
        EXPECT_GT(std::strlen(kurbel_status_message(code)), 3U) << code;
    }
    EXPECT_STREQ(kurbel_status_message(INT_MIN), kurbel_status_message(INT_MAX));
    for (const int code : {KURBEL_OK, KURBEL_EVENT, KURBEL_QUEUE_FULL, KURBEL_BAD_ARGUMENT, KURBEL_BAD_ENGINE,
                           KURBEL_BAD_WHEEL, KURBEL_BAD_TIMER, KURBEL_BAD_SETTINGS, KURBEL_BAD_ORDER,
                           KURBEL_OUT_OF_MEMORY, KURBEL_BAD_INPUT, KURBEL_INTERNAL})
        EXPECT_STRNE(kurbel_status_message(code), kurbel_status_message(12345)) << code;
}

TEST(CLibrary, NamesAreTheResultContracts) {
    EXPECT_STREQ(kurbel_verdict_name(KURBEL_FIRED), "fired");
    EXPECT_STREQ(kurbel_verdict_name(KURBEL_MISFIRE), "misfire");
    EXPECT_STREQ(kurbel_verdict_name(KURBEL_UNJUDGED), "unjudged");
    const std::array<const char*, 9> reasons{"",           "no_sync",    "no_phase",  "cranking", "fuel_cut",
                                             "low_torque", "rough_road", "transient", "learning"};
    for (int i = 0; i < 9; ++i) EXPECT_STREQ(kurbel_reason_name(i), reasons[static_cast<std::size_t>(i)]);
    EXPECT_STREQ(kurbel_phase_name(KURBEL_PHASE_CAM), "cam");
    EXPECT_STREQ(kurbel_phase_name(KURBEL_PHASE_NOT_NEEDED), "not_needed");
    for (const int nonsense : {-1, 4, 9, 300, INT_MAX, INT_MIN}) {
        EXPECT_STREQ(kurbel_verdict_name(nonsense), "?");
        EXPECT_STREQ(kurbel_phase_name(nonsense), "?");
        EXPECT_STREQ(kurbel_reason_name(nonsense == 4 ? 9 : nonsense), "?");
    }
}

TEST(CConfig, DefaultIsTheCppDefault) {
    kurbel_config config;
    std::memset(&config, 0xAB, sizeof config);
    ASSERT_EQ(kurbel_config_default(&config, sizeof config), KURBEL_OK);
    EXPECT_EQ(config.struct_size, sizeof config);
    const kurbel::Config plain;
    EXPECT_EQ(config.strokes, plain.engine.strokes);
    EXPECT_EQ(config.cylinders, 0);
    EXPECT_TRUE(std::isnan(config.bore_mm));
    EXPECT_EQ(config.timer_hz, plain.timer.hz);
    EXPECT_EQ(config.false_alarm, plain.settings.false_alarm);
    EXPECT_EQ(config.reserved, 0);
}

TEST(CConfig, DefaultRefusesNullAndSmall) {
    kurbel_config config;
    EXPECT_EQ(kurbel_config_default(nullptr, sizeof config), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_config_default(&config, offsetof(kurbel_config, tooth_error_deg) - 1), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_config_default(&config, 0), KURBEL_BAD_ARGUMENT);
}

// A program built against a later, longer struct must get its extra fields zeroed and nothing written beyond them.
TEST(CConfig, LongerStructIsFilledAndNothingBeyond) {
    std::vector<std::uint64_t> block(sizeof(kurbel_config) / 8 + 4, 0xABABABABABABABABULL);
    auto* config = reinterpret_cast<kurbel_config*>(block.data());
    ASSERT_EQ(kurbel_config_default(config, sizeof(kurbel_config) + 16), KURBEL_OK);
    EXPECT_EQ(config->struct_size, sizeof(kurbel_config) + 16);
    EXPECT_EQ(block[sizeof(kurbel_config) / 8], 0U);
    EXPECT_EQ(block[sizeof(kurbel_config) / 8 + 1], 0U);
    EXPECT_EQ(block[sizeof(kurbel_config) / 8 + 2], 0xABABABABABABABABULL);
}

TEST(CConfig, EvenWheelAndFiring) {
    const kurbel_config config = inline4();
    EXPECT_EQ(config.wheel_positions, 60);
    EXPECT_EQ(config.wheel_teeth, 58);
    EXPECT_DOUBLE_EQ(config.tooth_angle_deg[57], 342.0);
    EXPECT_DOUBLE_EQ(config.firing_tdc_deg[3], 540.0);
    EXPECT_EQ(kurbel_config_check(&config, nullptr, 0), KURBEL_OK);
}

TEST(CConfig, WheelHelperRefusesEachBadArgument) {
    kurbel_config config = inline4();
    const std::int32_t absent[2] = {58, 58};
    EXPECT_EQ(kurbel_config_even_wheel(nullptr, 60, absent, 1), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_config_even_wheel(&config, 60, nullptr, 1), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_config_even_wheel(&config, 60, absent, -1), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_config_even_wheel(&config, 60, absent, 2), KURBEL_BAD_WHEEL);
    EXPECT_EQ(kurbel_config_even_wheel(&config, 0, nullptr, 0), KURBEL_BAD_WHEEL);
    EXPECT_EQ(kurbel_config_even_wheel(&config, 401, nullptr, 0), KURBEL_BAD_WHEEL);
    EXPECT_EQ(config.wheel_teeth, 58) << "a refused wheel must leave the old one";
    EXPECT_EQ(kurbel_config_even_firing(nullptr), KURBEL_BAD_ARGUMENT);
    config.cylinders = 17;
    EXPECT_EQ(kurbel_config_even_firing(&config), KURBEL_BAD_ENGINE);
    config.cylinders = 4;
    config.strokes = 3;
    EXPECT_EQ(kurbel_config_even_firing(&config), KURBEL_BAD_ENGINE);
}

struct BadConfig {
    const char* what;
    void (*spoil)(kurbel_config&);
    std::int32_t code;
    const char* names;
};

class CConfigCheck : public ::testing::TestWithParam<BadConfig> {};

TEST_P(CConfigCheck, NamesTheParameter) {
    kurbel_config config = inline4();
    GetParam().spoil(config);
    std::array<char, 200> text{};
    EXPECT_EQ(kurbel_config_check(&config, text.data(), text.size()), GetParam().code);
    EXPECT_NE(std::string(text.data()).find(GetParam().names), std::string::npos) << text.data();
    kurbel_detector* detector = nullptr;
    EXPECT_EQ(kurbel_detector_create(&config, &detector), GetParam().code);
    EXPECT_EQ(detector, nullptr);
}

INSTANTIATE_TEST_SUITE_P(
    All, CConfigCheck,
    ::testing::Values(
        BadConfig{"size", [](kurbel_config& c) { c.struct_size = 8; }, KURBEL_BAD_ARGUMENT, "struct_size"},
        BadConfig{"strokes", [](kurbel_config& c) { c.strokes = 3; }, KURBEL_BAD_ENGINE, "engine.strokes"},
        BadConfig{"cylinders", [](kurbel_config& c) { c.cylinders = 17; }, KURBEL_BAD_ENGINE, "engine.cylinders"},
        BadConfig{"order", [](kurbel_config& c) { c.firing_order[2] = 3; }, KURBEL_BAD_ENGINE, "engine.firing_order"},
        BadConfig{"tdc", [](kurbel_config& c) { c.firing_tdc_deg[1] = kNan; }, KURBEL_BAD_ENGINE, "firing_tdc_deg"},
        BadConfig{"bore", [](kurbel_config& c) { c.bore_mm = -1; }, KURBEL_BAD_ENGINE, "engine.bore_mm"},
        BadConfig{"inertia", [](kurbel_config& c) { c.inertia_kg_m2 = kInfinity; }, KURBEL_BAD_ENGINE, "inertia"},
        BadConfig{"teeth", [](kurbel_config& c) { c.wheel_teeth = 401; }, KURBEL_BAD_WHEEL, "crank_wheel"},
        BadConfig{"angle", [](kurbel_config& c) { c.tooth_angle_deg[3] = kNan; }, KURBEL_BAD_WHEEL, "tooth_angles_deg"},
        BadConfig{"tdc1", [](kurbel_config& c) { c.tdc1_deg = 361; }, KURBEL_BAD_WHEEL, "tdc1_deg"},
        BadConfig{"at", [](kurbel_config& c) { c.sensor_at = 3; }, KURBEL_BAD_WHEEL, "crank_wheel.at"},
        BadConfig{"cam", [](kurbel_config& c) { c.cam_edges = 33; }, KURBEL_BAD_WHEEL, "cam_wheel"},
        BadConfig{"hz", [](kurbel_config& c) { c.timer_hz = kNan; }, KURBEL_BAD_TIMER, "timer.hz"},
        BadConfig{"bits", [](kurbel_config& c) { c.timer_bits = 63; }, KURBEL_BAD_TIMER, "timer.bits"},
        BadConfig{"method", [](kurbel_config& c) { c.method = 2; }, KURBEL_BAD_SETTINGS, "settings.method"},
        BadConfig{"alarm", [](kurbel_config& c) { c.false_alarm = kNan; }, KURBEL_BAD_SETTINGS, "false_alarm"}),
    [](const auto& each) { return std::string(each.param.what); });

TEST(CConfig, CheckCutsItsTextToFit) {
    kurbel_config config = inline4();
    config.strokes = 3;
    std::array<char, 32> text;
    for (std::size_t size = 0; size < text.size(); ++size) {
        text.fill('#');
        EXPECT_EQ(kurbel_config_check(&config, text.data(), size), KURBEL_BAD_ENGINE);
        if (size > 0) {
            EXPECT_EQ(std::strlen(text.data()),
                      std::min<std::size_t>(size - 1, std::strlen("engine.strokes: must be 2 or 4")));
        }
        EXPECT_EQ(text[size], '#') << "wrote past " << size;
    }
    EXPECT_EQ(kurbel_config_check(nullptr, text.data(), text.size()), KURBEL_BAD_ARGUMENT);
}

}  // namespace
