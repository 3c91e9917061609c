// kurbel.h: learned wheels, on the pick-up's shipped recordings.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <filesystem>
#include <string>

#include "c_api/support.hpp"

namespace {

struct Opened {
    kurbel_recording* recording = nullptr;
    explicit Opened(const char* name) {
        const std::string folder = std::string(KURBEL_DATASETS) + "/" + name;
        EXPECT_EQ(kurbel_recording_open(folder.c_str(), &recording, nullptr, 0), KURBEL_OK);
    }
    ~Opened() { kurbel_recording_close(recording); }
    Opened(const Opened&) = delete;
    Opened& operator=(const Opened&) = delete;
};

TEST(CWheel, IsLearnedSavedOpenedAndUsed) {
    const Opened road("pickup-road");
    std::array<char, 200> text{};
    kurbel_wheel* wheel = nullptr;
    ASSERT_EQ(kurbel_wheel_learn(road.recording, &wheel, text.data(), text.size()), KURBEL_OK) << text.data();
    EXPECT_EQ(kurbel_wheel_teeth(wheel), 35);
    const std::string path = (std::filesystem::temp_directory_path() / "kurbel_c_api_wheel.toml").string();
    ASSERT_EQ(kurbel_wheel_save(wheel, path.c_str(), text.data(), text.size()), KURBEL_OK) << text.data();
    kurbel_wheel* opened = nullptr;
    ASSERT_EQ(kurbel_wheel_open(path.c_str(), &opened, text.data(), text.size()), KURBEL_OK) << text.data();
    std::filesystem::remove(path);
    double square = 0.0;
    for (int tooth = 0; tooth < 35; ++tooth) {
        double error = 0.0;
        double se = 0.0;
        double again = 0.0;
        ASSERT_EQ(kurbel_wheel_tooth(wheel, tooth, &error, &se), KURBEL_OK);
        ASSERT_EQ(kurbel_wheel_tooth(opened, tooth, &again, nullptr), KURBEL_OK);
        EXPECT_NEAR(error, again, 1e-5);
        EXPECT_GT(se, 0.0);
        square += error * error / 35.0;
    }
    EXPECT_GT(square, 0.0);
    EXPECT_EQ(kurbel_wheel_tooth(wheel, 35, nullptr, nullptr), KURBEL_BAD_ARGUMENT);

    kurbel_config config{};
    ASSERT_EQ(kurbel_config_default(&config, sizeof config), KURBEL_OK);
    EXPECT_EQ(config.wheel_error_teeth, 0);
    EXPECT_EQ(kurbel_wheel_use(wheel, &config, text.data(), text.size()), KURBEL_BAD_INPUT);
    ASSERT_EQ(kurbel_recording_config(road.recording, &config), KURBEL_OK);
    ASSERT_EQ(kurbel_wheel_use(wheel, &config, text.data(), text.size()), KURBEL_OK) << text.data();
    EXPECT_EQ(config.wheel_error_teeth, 35);
    EXPECT_EQ(kurbel_config_check(&config, text.data(), text.size()), KURBEL_OK) << text.data();
    config.tooth_error_deg[4] = 20.0;
    EXPECT_EQ(kurbel_config_check(&config, text.data(), text.size()), KURBEL_BAD_WHEEL);
    EXPECT_NE(std::string(text.data()).find("wheel_errors"), std::string::npos);

    double log_odds = 0.0;
    double left = 0.0;
    ASSERT_EQ(kurbel_wheel_compare(opened, road.recording, &log_odds, &left, text.data(), text.size()), KURBEL_OK);
    EXPECT_GT(log_odds, 6.9);
    EXPECT_LT(left, 0.05);
    kurbel_wheel_close(opened);
    kurbel_wheel_close(wheel);
}

TEST(CWheel, RefusesWhatItCannotUse) {
    kurbel_wheel* wheel = nullptr;
    std::array<char, 200> text{};
    EXPECT_EQ(kurbel_wheel_learn(nullptr, &wheel, nullptr, 0), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_wheel_open("/no/such/wheel.toml", &wheel, text.data(), text.size()), KURBEL_BAD_INPUT);
    EXPECT_NE(std::string(text.data()).find("/no/such/wheel.toml"), std::string::npos);
    EXPECT_EQ(wheel, nullptr);
    EXPECT_EQ(kurbel_wheel_save(nullptr, "x", nullptr, 0), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_wheel_teeth(nullptr), 0);
    kurbel_wheel_close(nullptr);
}

}  // namespace
