// What is written reads back the same, in each form.
#include "kurbel/read/recording_writer.hpp"

#include <gtest/gtest.h>

#include "read/folder.hpp"

namespace {

using namespace kurbel;
using namespace kurbel::read;
using kurbel::test::Folder;

Recording sample(double hz, int bits) {
    Recording recording;
    Config& config = recording.config;
    config.engine.cylinders = 3;
    config.engine.firing_order = {1, 3, 2};
    make_even_firing(config.engine);
    config.engine.inertia_kg_m2 = 0.1;
    const std::array<int, 1> absent{35};
    EXPECT_TRUE(make_even_wheel(36, absent.data(), 1, config.crank_wheel).ok());
    config.crank_wheel.tdc1_deg = 110.5;
    config.cam_wheel.edges = 1;
    config.cam_wheel.edge_deg[0] = 50.25;
    config.timer = {hz, bits};
    const std::int64_t mask = bits > 0 ? (std::int64_t{1} << bits) - 1 : INT64_MAX;
    for (std::int64_t i = 0; i < 50; ++i) {
        recording.tick.push_back((60000 + i * 777) & mask);
        recording.signal.push_back(i % 7 == 3 ? 1 : 0);
    }
    recording.channels = {{60000, Channel::load, 0.5},       {60000, Channel::fuel_cut, 0.0},
                          {60001, Channel::load, 0.625},     {60001, Channel::load, 0.75},
                          {70003, fuel_cut_channel(2), 1.0}, {80007, Channel::coolant_c, -12.5}};
    recording.has_truth = true;
    recording.truth = {{0.0612, 1, 0.0, false, 120.5, kUnknown}, {0.0731, 3, kUnknown, true, kUnknown, 18.25}};
    return recording;
}

void expect_same_but_edges(const Recording& a, const Recording& b) {
    ASSERT_EQ(a.channels.size(), b.channels.size());
    for (std::size_t i = 0; i < a.channels.size(); ++i) {
        EXPECT_EQ(a.channels[i].tick, b.channels[i].tick) << i;
        EXPECT_EQ(a.channels[i].channel, b.channels[i].channel) << i;
        EXPECT_EQ(a.channels[i].value, b.channels[i].value) << i;
    }
    ASSERT_EQ(a.truth.size(), b.truth.size());
    for (std::size_t i = 0; i < a.truth.size(); ++i) {
        EXPECT_EQ(a.truth[i].time_s, b.truth[i].time_s);
        EXPECT_EQ(a.truth[i].cylinder, b.truth[i].cylinder);
        EXPECT_EQ(a.truth[i].fuel_cut, b.truth[i].fuel_cut);
    }
    EXPECT_EQ(b.truth[0].work_j, 120.5);
    EXPECT_TRUE(b.truth[0].tdc_bar != b.truth[0].tdc_bar);
    EXPECT_TRUE(b.truth[1].severity != b.truth[1].severity);
    EXPECT_EQ(b.config.cam_wheel.edge_deg[0], 50.25);
    EXPECT_EQ(b.config.crank_wheel.teeth, 35);
    EXPECT_EQ(b.config.engine.firing_order[1], 3);
    EXPECT_EQ(b.config.engine.inertia_kg_m2, 0.1);
}

TEST(WriteRecording, WrappedTicksAsText) {
    const Folder folder;
    const Recording recording = sample(1e6, 16);
    write_recording(folder.file("r"), recording);
    const Recording again = read_recording(folder.file("r"));
    EXPECT_EQ(again.tick, recording.tick);
    EXPECT_EQ(again.signal, recording.signal);
    EXPECT_EQ(again.config.timer.bits, 16);
    expect_same_but_edges(recording, again);
}

TEST(WriteRecording, WrappedTicksAsArraysAreUnwrapped) {
    const Folder folder;
    const Recording recording = sample(1e6, 16);
    write_recording(folder.path(), recording, {true, false});
    const Recording again = read_recording(folder.path());
    EXPECT_EQ(again.config.timer.bits, 0);
    EXPECT_EQ(again.signal, recording.signal);
    EXPECT_EQ(again.tick.back(), 60000 + 49 * 777);
    EXPECT_EQ(duration_s(again), duration_s(recording));
    expect_same_but_edges(recording, again);
}

TEST(WriteRecording, SecondsAsTextAndAsArrays) {
    const Recording recording = sample(1e9, 0);
    for (const bool npy : {false, true}) {
        const Folder folder;
        write_recording(folder.path(), recording, {npy, true});
        EXPECT_EQ(folder.text("recording.toml").find("[timer]"), std::string::npos);
        const Recording again = read_recording(folder.path());
        EXPECT_EQ(again.tick, recording.tick);
        EXPECT_EQ(again.signal, recording.signal);
        expect_same_but_edges(recording, again);
    }
}

TEST(WriteRecording, OddTimerKeepsChannelTicks) {
    const Folder folder;
    const Recording recording = sample(1234567.0, 0);
    write_recording(folder.path(), recording);
    expect_same_but_edges(recording, read_recording(folder.path()));
}

TEST(WriteRecording, LeavesOutWhatThereIsNot) {
    const Folder folder;
    Recording recording = sample(1e6, 0);
    recording.channels.clear();
    recording.has_truth = false;
    write_recording(folder.path(), recording);
    EXPECT_EQ(folder.entries(), 2) << "recording.toml and edges.csv";
}

TEST(WriteRecording, RefusesWhatWouldRoundOrCannotBeWritten) {
    const Folder folder;
    EXPECT_THROW(write_recording(folder.path(), sample(1e6, 0), {false, true}), std::invalid_argument);
    Recording uneven = sample(1e6, 0);
    uneven.signal.pop_back();
    EXPECT_THROW(write_recording(folder.path(), uneven), std::invalid_argument);
    folder.write("file", "x");
    EXPECT_EQ(kurbel::test::complaint(folder, [&] { write_recording(folder.file("file/r"), sample(1e6, 0)); }),
              "R/file/r: cannot be created as a folder");
}

}  // namespace
