// Recordings that cannot be used: each complaint names file, line and cause.
#include <gtest/gtest.h>

#include "read/folder.hpp"

namespace {

using kurbel::test::Folder;
using kurbel::test::kToml;
using kurbel::test::reading_complaint;
using kurbel::test::timer_toml;

const std::string kOneEdge = "time_s,signal\n0.1,crank\n";

struct Refusal {
    const char* name;
    std::string toml;
    std::string edges;
    std::string message;
    const char* side_file = nullptr;  ///< beside those two
    std::string side_text{};
};

std::string name_of(const testing::TestParamInfo<Refusal>& refusal) { return refusal.param.name; }

Refusal side(const char* name, const char* file, const std::string& text, const std::string& message) {
    return {name, kToml, kOneEdge, message, file, text};
}

class Refused : public testing::TestWithParam<Refusal> {};

TEST_P(Refused, WithFileLineAndCause) {
    const Folder folder;
    folder.write("recording.toml", GetParam().toml);
    folder.write("edges.csv", GetParam().edges);
    if (GetParam().side_file != nullptr) folder.write(GetParam().side_file, GetParam().side_text);
    EXPECT_EQ(reading_complaint(folder), GetParam().message);
}

INSTANTIATE_TEST_SUITE_P(
    Edges, Refused,
    testing::Values(
        Refusal{"CutOffInARow", kToml, "time_s,signal\n0.1,crank\n0.2",
                "R/edges.csv:3: has 1 of 2 fields; the file seems to be cut off here"},
        Refusal{"CutOffInAWord", kToml, "time_s,signal\n0.1,crank\n0.2,cra",
                "R/edges.csv:3: signal: must be crank or cam, not \"cra\""},
        Refusal{"RowTooShort", kToml, "time_s,signal\n0.1\n0.2,crank\n", "R/edges.csv:2: has 1 of 2 fields"},
        Refusal{"RowTooLong", kToml, "time_s,signal\n0.1,crank,9\n", "R/edges.csv:2: has 3 of 2 fields"},
        Refusal{"EmptyLineWithin", kToml, "time_s,signal\n0.1,crank\n\n0.2,crank\n",
                "R/edges.csv:3: is an empty line between rows"},
        Refusal{"WrongColumn", kToml, "seconds,signal\n0.1,crank\n",
                "R/edges.csv:1: no column time_s; the header names \"seconds\", \"signal\""},
        Refusal{"NoSignal", kToml, "time_s,kind\n0.1,crank\n",
                "R/edges.csv:1: no column signal; the header names \"time_s\", \"kind\""},
        Refusal{"Semicolons", kToml, "time_s;signal\n0.1;crank\n",
                "R/edges.csv:1: no column time_s; the header names \"time_s;signal\""},
        Refusal{"ColumnTwice", kToml, "time_s,signal,time_s\n0.1,crank,0.1\n",
                "R/edges.csv:1: column \"time_s\" stands twice in the header"},
        Refusal{"UnknownSignal", kToml, "time_s,signal\n0.1,crank\n0.2,Crank\n",
                "R/edges.csv:3: signal: must be crank or cam, not \"Crank\""},
        Refusal{"TimeBackwards", kToml, "time_s,signal\n0.1,crank\n0.3,crank\n0.2,crank\n",
                "R/edges.csv:4: time_s: time runs backwards: must not come before \"0.3\", not \"0.2\""},
        Refusal{"NotANumber", kToml, "time_s,signal\n0.1,crank\nnan,crank\n",
                "R/edges.csv:3: time_s: must be a finite number of seconds, not \"nan\""},
        Refusal{"Infinite", kToml, "time_s,signal\ninf,crank\n",
                "R/edges.csv:2: time_s: must be a finite number of seconds, not \"inf\""},
        Refusal{"EmptyTime", kToml, "time_s,signal\n,crank\n",
                "R/edges.csv:2: time_s: must be a finite number of seconds, not \"\""},
        Refusal{"Unprintable", kToml, std::string("time_s,signal\n\x01\xFFx,crank\n"),
                "R/edges.csv:2: time_s: must be a finite number of seconds, not \"??x\""},
        Refusal{"Empty", kToml, "", "R/edges.csv: is empty"},
        Refusal{"HeaderAlone", kToml, "time_s,signal\n", "R/edges.csv:1: holds no edges: the recording is empty"},
        Refusal{"CamAlone", kToml, "time_s,signal\n0.1,cam\n", "R/edges.csv: holds cam edges alone, none of the crank"},
        Refusal{"TicksWithoutTimer", kToml, "tick,signal\n1,crank\n",
                "R/edges.csv:1: edges are ticks, but recording.toml has no [timer] that says how many a second"},
        Refusal{"TickNotWhole", timer_toml(1e6, 32), "tick,signal\n1.5,crank\n",
                "R/edges.csv:2: tick: must be a whole number, not \"1.5\""},
        Refusal{"TickTooWide", timer_toml(1e6, 16), "tick,signal\n65536,crank\n",
                "R/edges.csv:2: tick: must fit a counter of 16 bits (timer.bits), not \"65536\""},
        Refusal{"TickNegative", timer_toml(1e6, 16), "tick,signal\n-1,crank\n",
                "R/edges.csv:2: tick: must fit a counter of 16 bits (timer.bits), not \"-1\""},
        Refusal{"WideCounterBackwards", timer_toml(1e6, 32), "tick,signal\n1000,crank\n900,crank\n",
                "R/edges.csv:3: tick: time runs backwards: must not come before \"1000\", not \"900\""},
        Refusal{"UnwrappedBackwards", timer_toml(1e6, 0), "tick,signal\n1000,crank\n900,crank\n",
                "R/edges.csv:3: tick: time runs backwards: must not come before \"1000\", not \"900\""},
        Refusal{"UnknownTable", kToml + "[vehicle]\nname = 1\n", kOneEdge,
                "R/recording.toml:8: unknown key vehicle; the nearest known one is engine"},
        Refusal{"FutureContract", "contract = 2\n" + kToml, kOneEdge, "R/recording.toml:1: contract: must be 1"},
        Refusal{
            "GaplessWithoutCam",
            "[engine]\ncylinders = 1\nfiring_order = [1]\n[crank_wheel]\npositions = 4\nabsent = []\ntdc1_deg = 0\n",
            kOneEdge, "R/recording.toml:6: crank_wheel.absent: a wheel without a gap needs a cam signal"}),
    name_of);

TEST(FolderRefused, WhereFilesAreMissing) {
    const Folder folder;
    EXPECT_EQ(reading_complaint(folder),
              "R/recording.toml: is missing; a recording is a folder that holds it (kurbel inspect drafts one from "
              "edges alone)");
    folder.write("recording.toml", kToml);
    EXPECT_EQ(reading_complaint(folder), "R/edges.csv: is missing (crank.npy too)");
    folder.write("cam.npy", "x");
    EXPECT_EQ(reading_complaint(folder), "R/edges.csv: is missing, and cam.npy alone tells nothing of the crank");
    folder.write("edges.csv", kOneEdge);
    EXPECT_EQ(reading_complaint(folder),
              "R/edges.csv: stands beside crank.npy or cam.npy; a recording has one of the forms");
    const auto missing = [&] { (void)kurbel::read::read_recording(folder.path() + "/none"); };
    EXPECT_EQ(kurbel::test::complaint(folder, missing), "R/none: is missing; a recording is a folder");
    const auto file = [&] { (void)kurbel::read::read_recording(folder.file("edges.csv")); };
    EXPECT_EQ(kurbel::test::complaint(folder, file), "R/edges.csv: is one file of a recording; give its folder, R");
    const Folder elsewhere;  // on its own it is a foreign file
    elsewhere.write("edges.csv", kOneEdge);
    const auto alone = [&] { (void)kurbel::read::read_recording(elsewhere.file("edges.csv")); };
    EXPECT_EQ(kurbel::test::complaint(elsewhere, alone),
              "R/edges.csv: which column is the crank's? Write R/edges.csv.kurbel.toml (crank = \"NAME\" ...), or call "
              "kurbel convert with --crank NAME; there are time_s, signal");
}

TEST(FolderRefused, WhereAFileIsAFolder) {
    const Folder folder;
    folder.write("recording.toml", kToml);
    std::filesystem::create_directory(folder.file("edges.csv"));
    EXPECT_EQ(reading_complaint(folder), "R/edges.csv: is a folder, not a file");
}

INSTANTIATE_TEST_SUITE_P(
    SideFiles, Refused,
    testing::Values(
        side("ChannelsWithoutTime", "channels.csv", "load\n0.3\n",
             "R/channels.csv:1: no column time_s; the header names \"load\""),
        side("LoadInPercent", "channels.csv", "time_s,load\n0.0,32\n",
             "R/channels.csv:2: load: must lie in 0 to 10, not \"32\""),
        side("LoadNotANumber", "channels.csv", "time_s,load\n0.0,NaN\n",
             "R/channels.csv:2: load: must be a finite number, not \"NaN\""),
        side("FuelCutHalf", "channels.csv", "time_s,fuel_cut\n0.0,0.5\n",
             "R/channels.csv:2: fuel_cut: must be 0 or 1, not \"0.5\""),
        side("ChannelsBackwards", "channels.csv", "time_s,load\n0.2,0.3\n0.1,0.3\n",
             "R/channels.csv:3: time_s: time runs backwards: must not come before the row above, not \"0.1\""),
        side("TruthWithoutSeverity", "truth.csv", "time_s,cylinder,fuel_cut\n0.0,1,0\n",
             "R/truth.csv:1: no column severity; the header names \"time_s\", \"cylinder\", \"fuel_cut\""),
        side("TruthCylinder", "truth.csv", "time_s,cylinder,severity,fuel_cut\n0.0,5,0,0\n",
             "R/truth.csv:2: cylinder: must be a cylinder, 1 to 4, not \"5\""),
        side("TruthSeverity", "truth.csv", "time_s,cylinder,severity,fuel_cut\n0.0,1,1.5,0\n",
             "R/truth.csv:2: severity: must lie in 0 to 1, not \"1.5\""),
        side("TruthCutOff", "truth.csv", "time_s,cylinder,severity,fuel_cut\n0.0,1,0,0\n0.1,3",
             "R/truth.csv:3: has 2 of 4 fields; the file seems to be cut off here")),
    name_of);

}  // namespace
