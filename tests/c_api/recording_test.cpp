// kurbel.h: recordings on disk, through the writer's files and shipped ones.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "c_api/support.hpp"
#include "kurbel/read/recording_writer.hpp"
#include "support/inline4_edges.hpp"

namespace {

namespace fs = std::filesystem;

/// A folder of this test alone that vanishes with it.
class Folder {
  public:
    Folder() {
        const auto* info = ::testing::UnitTest::GetInstance()->current_test_info();
        path_ = fs::temp_directory_path() / (std::string("kurbel_c_api_") + info->name());
        fs::remove_all(path_);
        fs::create_directories(path_);
    }
    ~Folder() { fs::remove_all(path_); }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    [[nodiscard]] std::string at(const char* name) const { return (path_ / name).string(); }

  private:
    fs::path path_;
};

kurbel::read::Recording recording_of(const kurbel_test::Edges& edges) {
    kurbel::read::Recording recording;
    recording.config.engine.cylinders = 4;
    recording.config.engine.firing_order = {1, 3, 4, 2};
    make_even_firing(recording.config.engine);
    const std::array<int, 2> absent{58, 59};
    EXPECT_TRUE(make_even_wheel(60, absent.data(), 2, recording.config.crank_wheel).ok());
    recording.config.crank_wheel.tdc1_deg = 84.0;
    recording.config.cam_wheel.edges = 1;
    recording.config.cam_wheel.edge_deg[0] = 50.0;
    recording.config.timer = {1.0e6, 32};
    recording.tick = edges.ticks;
    recording.signal = edges.signals;
    return recording;
}

std::vector<kurbel_event> run(kurbel_recording* recording, const kurbel_config& config) {
    std::vector<kurbel_event> events;
    kurbel_detector* detector = nullptr;
    EXPECT_EQ(kurbel_detector_create(&config, &detector), KURBEL_OK);
    kurbel_event event{};
    event.struct_size = sizeof event;
    std::int32_t answer = KURBEL_QUEUE_FULL;
    for (bool fed = false; answer == KURBEL_QUEUE_FULL || !fed;) {
        fed = fed || answer == KURBEL_OK;
        answer = fed ? kurbel_detector_finish(detector) : kurbel_recording_feed(recording, detector);
        while (kurbel_detector_next_event(detector, &event) == KURBEL_EVENT) events.push_back(event);
        if (answer != KURBEL_OK && answer != KURBEL_QUEUE_FULL) {
            ADD_FAILURE() << kurbel_detector_last_error(detector);
            break;
        }
    }
    kurbel_detector_destroy(detector);
    return events;
}

TEST(CRecording, FeedsEdgesAndChannelsAcrossTheCountersWrap) {
    const Folder folder;
    const auto edges = kurbel_test::inline4_edges({.seconds = 12.0});
    auto written = recording_of(edges);
    // The counter wraps within the first second; the load changes six seconds in, by the unwrapped clock.
    const std::int64_t start = edges.ticks.front();
    written.channels = {{start, kurbel::Channel::load, 0.25}, {start + 6000000, kurbel::Channel::load, 0.5}};
    kurbel::read::write_recording(folder.at("run"), written);

    std::array<char, 300> why{};
    kurbel_recording* recording = nullptr;
    ASSERT_EQ(kurbel_recording_open(folder.at("run").c_str(), &recording, why.data(), why.size()), KURBEL_OK)
        << why.data();
    EXPECT_EQ(kurbel_recording_edges(recording), static_cast<std::int64_t>(edges.ticks.size()));
    kurbel_config config;
    kurbel_config_default(&config, sizeof config);
    ASSERT_EQ(kurbel_recording_config(recording, &config), KURBEL_OK);
    EXPECT_EQ(config.wheel_teeth, 58);
    EXPECT_EQ(config.timer_bits, 32);

    const auto events = run(recording, config);
    ASSERT_GT(events.size(), 400U);
    const double first_s = static_cast<double>(start) / 1.0e6;
    for (const auto& event : events) {
        const double at_s = event.time_s - first_s;
        if (at_s > 0.5 && at_s < 5.8) {
            EXPECT_EQ(event.load, 0.25) << at_s;
        } else if (at_s > 6.2) {
            EXPECT_EQ(event.load, 0.5) << at_s;
        }
    }
    ASSERT_EQ(kurbel_recording_rewind(recording), KURBEL_OK);
    const auto again = run(recording, config);
    ASSERT_EQ(again.size(), events.size());
    EXPECT_EQ(std::memcmp(again.data(), events.data(), events.size() * sizeof events[0]), 0);
    kurbel_recording_close(recording);
}

TEST(CRecording, ShippedRecordingNamesItsCylinder) {
    std::array<char, 300> why{};
    kurbel_recording* recording = nullptr;
    ASSERT_EQ(kurbel_recording_open(KURBEL_DATASETS "/pickup-1-before", &recording, why.data(), why.size()), KURBEL_OK)
        << why.data();
    kurbel_config config;
    kurbel_config_default(&config, sizeof config);
    ASSERT_EQ(kurbel_recording_config(recording, &config), KURBEL_OK);
    std::array<int, KURBEL_MAX_CYLINDERS + 1> misfires{};
    for (const auto& event : run(recording, config))
        if (event.verdict == KURBEL_MISFIRE) ++misfires[static_cast<std::size_t>(event.cylinder)];
    kurbel_recording_close(recording);
    EXPECT_EQ(std::max_element(misfires.begin(), misfires.end()) - misfires.begin(), 4);
    EXPECT_GT(misfires[4], 10);
}

TEST(CRecording, BadInputNamesFileAndLine) {
    const Folder folder;
    std::array<char, 300> why{};
    kurbel_recording* recording = nullptr;
    EXPECT_EQ(kurbel_recording_open(folder.at("absent").c_str(), &recording, why.data(), why.size()), KURBEL_BAD_INPUT);
    EXPECT_EQ(recording, nullptr);
    EXPECT_NE(std::string(why.data()).find("absent"), std::string::npos) << why.data();

    kurbel::read::write_recording(folder.at("run"), recording_of(kurbel_test::inline4_edges({.seconds = 1.0})));
    std::ofstream(folder.at("run") + "/edges.csv") << "tick,signal\n1000,crank\n2000,crunk\n";
    EXPECT_EQ(kurbel_recording_open(folder.at("run").c_str(), &recording, why.data(), why.size()), KURBEL_BAD_INPUT);
    EXPECT_NE(std::string(why.data()).find("edges.csv:3: "), std::string::npos) << why.data();
    // A buffer too short for the message cuts it; none at all is fine.
    std::array<char, 10> little{};
    EXPECT_EQ(kurbel_recording_open(folder.at("run").c_str(), &recording, little.data(), little.size()),
              KURBEL_BAD_INPUT);
    EXPECT_EQ(std::strlen(little.data()), little.size() - 1);
    EXPECT_EQ(kurbel_recording_open(folder.at("run").c_str(), &recording, nullptr, 0), KURBEL_BAD_INPUT);
}

TEST(CRecording, EachBadArgumentIsRefused) {
    kurbel_recording* recording = nullptr;
    kurbel_config config{};
    EXPECT_EQ(kurbel_recording_open(nullptr, &recording, nullptr, 0), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_recording_open("x", nullptr, nullptr, 0), KURBEL_BAD_ARGUMENT);
    kurbel_recording_close(nullptr);
    EXPECT_EQ(kurbel_recording_config(nullptr, &config), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_recording_edges(nullptr), 0);
    EXPECT_EQ(kurbel_recording_feed(nullptr, nullptr), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_recording_rewind(nullptr), KURBEL_BAD_ARGUMENT);
}

}  // namespace
