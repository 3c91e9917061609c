// Recording folders: what is read from them, exactly.
#include "kurbel/read/recording.hpp"

#include <gtest/gtest.h>

#include <algorithm>

#include "read/folder.hpp"

namespace {

using namespace kurbel;
using namespace kurbel::read;
using kurbel::test::Folder;
using kurbel::test::kToml;
using kurbel::test::timer_toml;

std::string with_windows_line_ends(const std::string& text) {
    std::string out = "\xEF\xBB\xBF";
    for (const char letter : text) out += letter == '\n' ? std::string("\r\n") : std::string(1, letter);
    return out;
}

/// A folder that holds these two files.
Recording reading(const std::string& toml, const std::string& edges) {
    const Folder folder;
    folder.write("recording.toml", toml);
    folder.write("edges.csv", edges);
    return read_recording(folder.path());
}

TEST(ReadRecording, SecondsBecomeNanosecondTicks) {
    const Recording recording =
        reading("contract = 1\n" + kToml, "time_s,signal\n0.000034000,crank\n0.000589,cam\n36000.123456789,crank\n");
    EXPECT_EQ(recording.tick, (std::vector<std::int64_t>{34000, 589000, 36000123456789}));
    EXPECT_EQ(recording.signal, (std::vector<std::uint8_t>{0, 1, 0}));
    EXPECT_EQ(recording.config.timer.hz, 1e9);
    EXPECT_EQ(recording.config.timer.bits, 0);
    EXPECT_EQ(recording.files, (std::vector<std::string>{"recording.toml", "edges.csv"}));
    EXPECT_EQ(recording.wheel_line, 5);
    EXPECT_FALSE(recording.has_truth);
    EXPECT_DOUBLE_EQ(duration_s(recording), 36000.123422789);
}

TEST(ReadRecording, TicksStayAsTheyStand) {
    const Recording recording =
        reading(timer_toml(1e6, 16), "signal,note,tick\ncrank,x,65000\ncrank,,100\ncam,y,101\n");
    EXPECT_EQ(recording.tick, (std::vector<std::int64_t>{65000, 100, 101}));
    EXPECT_EQ(recording.config.timer.bits, 16);
    EXPECT_DOUBLE_EQ(duration_s(recording), 637e-6) << "the counter wrapped once";
}

TEST(ReadRecording, AcceptsByteOrderMarkWindowsLineEndsQuotesSpacesAndMissingLastLineEnd) {
    const std::string toml = with_windows_line_ends(kToml);
    const std::string edges = "\"time_s\", signal,\"a,b\"\n0.1 , \"crank\",\"x,y\"\n 0.2,cam,1\n\n\n";
    EXPECT_EQ(reading(toml, with_windows_line_ends(edges)).tick, (std::vector<std::int64_t>{100000000, 200000000}));
    EXPECT_EQ(reading(toml, "time_s,signal\n0.1,crank\n0.2,cam").tick.size(), 2U);
}

TEST(ReadRecording, PrefersTicksWhereATimerIsNamed) {
    const std::string edges = "time_s,tick,signal\n0.1,7,crank\n";
    EXPECT_EQ(reading(timer_toml(1e6, 0), edges).tick.front(), 7);
    EXPECT_EQ(reading(kToml, edges).tick.front(), 100000000);
}

TEST(ReadRecording, TwoEdgesAtOneTimeAreLeftToTheDecoder) {
    EXPECT_EQ(reading(kToml, "time_s,signal\n0.1,crank\n0.1,crank\n").tick.size(), 2U);
}

TEST(ReadRecording, WideCounterMayWrapAndNarrowOneMayStepFar) {
    const Recording wide = reading(timer_toml(1e6, 32), "tick,signal\n4294967290,crank\n5,crank\n");
    EXPECT_DOUBLE_EQ(duration_s(wide), 11e-6);
    const Recording narrow = reading(timer_toml(1e6, 16), "tick,signal\n100,crank\n60000,crank\n59000,crank\n");
    EXPECT_DOUBLE_EQ(duration_s(narrow), (59900.0 + 64536.0) * 1e-6);
}

TEST(ReadRecording, ChannelRowsStandAtTheFirstTickNotBeforeThem) {
    const Folder folder;
    folder.write("recording.toml", timer_toml(1e6, 16));
    folder.write("edges.csv", "tick,signal\n0,crank\n10000,crank\n");
    folder.write("channels.csv",
                 "fuel_cut,other,load,time_s,fuel_cut_3,coolant_c,vehicle_kmh,fuel_cut_9\n0,a,0.5,0.010,1,88.5,30,1\n"
                 "1,b,,0.0100001,,,,\n");
    const std::vector<ChannelRow> rows = read_recording(folder.path()).channels;
    ASSERT_EQ(rows.size(), 6U) << "an empty field has no row, and an engine of four has no cylinder 9";
    EXPECT_EQ(rows[0].tick, 10000);
    EXPECT_EQ(rows.back().tick, 10001);
    EXPECT_EQ(rows.back().channel, Channel::fuel_cut);
    EXPECT_EQ(rows.back().value, 1.0);
    const auto third = std::find_if(rows.begin(), rows.end(),
                                    [](const ChannelRow& row) { return row.channel == fuel_cut_channel(3); });
    ASSERT_NE(third, rows.end());
    EXPECT_EQ(third->value, 1.0);
}

TEST(ReadRecording, TruthWithAndWithoutItsOptionalColumns) {
    const Folder folder;
    folder.write("recording.toml", kToml);
    folder.write("edges.csv", "time_s,signal\n0.1,crank\n");
    folder.write("truth.csv", "time_s,cylinder,severity,fuel_cut\n0.02,2,1.0,0\n0.06,1,,1\n");
    const Recording plain = read_recording(folder.path());
    ASSERT_TRUE(plain.has_truth);
    ASSERT_EQ(plain.truth.size(), 2U);
    EXPECT_EQ(plain.truth[0].severity, 1.0);
    EXPECT_TRUE(plain.truth[1].severity != plain.truth[1].severity);
    EXPECT_TRUE(plain.truth[1].fuel_cut);
    EXPECT_TRUE(plain.truth[0].work_j != plain.truth[0].work_j);
    folder.write("truth.csv", "tdc_bar,time_s,cylinder,severity,fuel_cut,work_j\n18.754,0.118080,1,0.000,1,-12.5\n");
    const Recording full = read_recording(folder.path());
    EXPECT_EQ(full.truth[0].tdc_bar, 18.754);
    EXPECT_EQ(full.truth[0].work_j, -12.5);
    EXPECT_EQ(full.files.back(), "truth.csv");
}

}  // namespace
