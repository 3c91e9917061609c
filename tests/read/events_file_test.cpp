// events.csv: the header to the letter, and what is written reads back.
#include "kurbel/read/events_file.hpp"

#include <gtest/gtest.h>

#include "read/folder.hpp"

namespace {

using namespace kurbel;
using namespace kurbel::read;
using kurbel::test::complaint;
using kurbel::test::Folder;

std::vector<Event> sample() {
    Event known;
    known.time_s = 36000.123456789;
    known.cycle = 2;
    known.cylinder = 3;
    known.speed_rpm = 801.25;
    known.load = 0.31;
    known.acceleration_rad_s2 = -212.2;
    known.work_j = 12.5;
    known.work_se_j = 1.5;
    known.expected_j = 100.0;
    known.severity = 0.875;
    known.evidence = 9.5;
    known.threshold = 4.25;
    known.probability = 0.99999;
    known.verdict = Verdict::misfire;
    Event unknown;
    unknown.time_s = 36000.2;
    unknown.cycle = 2;
    unknown.candidates = {2, 3};
    unknown.verdict = Verdict::unjudged;
    unknown.reason = Reason::low_torque;
    return {known, unknown};
}

TEST(EventsFile, HeaderIsTheContracts) {
    EXPECT_STREQ(
        events_header(),
        "time_s,cycle,cylinder,candidates,speed_rpm,load,acceleration_rad_s2,work_j,work_se_j,expected_j,severity,"
        "evidence,threshold,probability,verdict,reason");
}

TEST(EventsFile, WritesUnknownAsEmpty) {
    const Folder folder;
    write_events(folder.file("events.csv"), sample());
    EXPECT_EQ(folder.text("events.csv"),
              std::string(events_header()) +
                  "\n36000.123456789,2,3,,801.25,0.31,-212.2,12.5,1.5,100,0.875,9.5,4.25,0.99999,misfire,\n"
                  "36000.200000000,2,,2|3,,,,,,,,,,,unjudged,low_torque\n");
}

TEST(EventsFile, ALoadThatPassedAsFloatIsWrittenAsItWasTold) {
    const Folder folder;
    std::vector<Event> events = sample();
    events[0].load = static_cast<double>(0.2673F);
    write_events(folder.file("events.csv"), events);
    EXPECT_NE(folder.text("events.csv").find(",0.2673,"), std::string::npos) << folder.text("events.csv");
}

TEST(EventsFile, ReadsBack) {
    const Folder folder;
    write_events(folder.file("events.csv"), sample());
    const std::vector<Event> events = read_events(folder.file("events.csv"));
    ASSERT_EQ(events.size(), 2U);
    EXPECT_EQ(events[0].time_s, 36000.123456789);
    EXPECT_EQ(events[0].severity, 0.875);
    EXPECT_EQ(events[0].verdict, Verdict::misfire);
    EXPECT_EQ(events[1].candidates[1], 3);
    EXPECT_EQ(events[1].reason, Reason::low_torque);
    EXPECT_TRUE(events[1].severity != events[1].severity);
}

TEST(EventsFile, Refusals) {
    const Folder folder;
    const auto said = [&](const std::string& row) {
        folder.write("events.csv", std::string(events_header()) + "\n" + row + "\n");
        return complaint(folder, [&] { (void)read_events(folder.file("events.csv")); });
    };
    EXPECT_EQ(said("0.1,0,17,,,,,,,,,,,,fired,"), "R/events.csv:2: cylinder: must be a cylinder, 1 to 16, not \"17\"");
    EXPECT_EQ(said("0.1,0,,1|x,,,,,,,,,,,fired,"),
              "R/events.csv:2: candidates: must be a cylinder, 1 to 16, not \"1|x\"");
    EXPECT_EQ(said("0.1,0,1,,,,,,,,,,,,fine,"),
              "R/events.csv:2: verdict: must be fired, misfire or unjudged, not \"fine\"");
    EXPECT_EQ(said("0.1,0,1,,,,,,,,,,,,unjudged,tired"),
              "R/events.csv:2: reason: must be a known reason, not \"tired\"");
    EXPECT_EQ(said("0.2,0,1,,,,,,,,,,,,fired,\n0.1,0,1,,,,,,,,,,,,fired,"),
              "R/events.csv:3: time_s: time runs backwards: must not come before the row above, not \"0.1\"");
    EXPECT_EQ(complaint(folder, [&] { write_events(folder.file("none/events.csv"), {}); }),
              "R/none/events.csv: cannot be written");
}

}  // namespace
