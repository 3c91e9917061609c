// The header of a snapshot: which bytes are taken, which are refused and why.
#include "kurbel/snapshot.hpp"

#include <gtest/gtest.h>

#include <cstring>
#include <string>
#include <string_view>
#include <vector>

#include "support/inline4_config.hpp"

namespace {

using kurbel::Detector;
using kurbel::DetectorF;
using kurbel::kSnapshotSize;

// Fowler, Noll and Vo's own test vectors of FNV-1a with 64 bits (values from memory).
TEST(Checksum, AuthorsVectors) {
    const auto sum = [](std::string_view text) { return kurbel::fnv1a(text.data(), text.size()); };
    EXPECT_EQ(sum(""), 0xcbf29ce484222325ULL);
    EXPECT_EQ(sum("a"), 0xaf63dc4c8601ec8cULL);
    EXPECT_EQ(sum("foobar"), 0x85944171f73967e8ULL);
}

std::vector<char> good_snapshot() {
    std::vector<char> bytes(kSnapshotSize<double>);
    const auto made = Detector::create(kurbel_test::inline4_config());
    EXPECT_TRUE(write_snapshot(made.value, bytes.data(), bytes.size()).ok());
    return bytes;
}

std::string complaint(const std::vector<char>& bytes) {
    Detector detector;
    return read_snapshot(bytes.data(), bytes.size(), detector).why;
}

TEST(Snapshot, EveryFieldOfTheHeaderIsLookedAt) {
    const std::vector<char> good = good_snapshot();
    Detector detector;
    ASSERT_TRUE(read_snapshot(good.data(), good.size(), detector).ok());
    EXPECT_EQ(detector.config().engine.cylinders, 4);
    std::vector<std::string> reasons(sizeof(kurbel::detail::SnapshotHeader));
    for (std::size_t i = 0; i < reasons.size(); ++i) {
        std::vector<char> bytes = good;
        bytes[i] = static_cast<char>(bytes[i] ^ 0x40);
        reasons[i] = complaint(bytes);
        EXPECT_GT(reasons[i].size(), 5U) << "byte " << i << " changed and nobody minded";
    }
    EXPECT_EQ(reasons[0], "is none of this library's");
    EXPECT_EQ(reasons[8], "was written on a machine of the other byte order");
    EXPECT_EQ(reasons[12], "was written by another version of the library");
    EXPECT_EQ(reasons.back(), "is damaged: its checksum is wrong");
}

TEST(Snapshot, ShortForeignAndDamagedBytesLeaveTheDetectorAlone) {
    std::vector<char> bytes = good_snapshot();
    kurbel::Config other = kurbel_test::inline4_config();
    other.settings.false_alarm = 1e-3;
    auto made = Detector::create(other);
    ASSERT_TRUE(made.ok());
    EXPECT_STREQ(read_snapshot(bytes.data(), bytes.size() - 1, made.value).why, "is too short");
    EXPECT_STREQ(read_snapshot(nullptr, bytes.size(), made.value).why, "is too short");
    bytes.back() = static_cast<char>(bytes.back() ^ 1);
    EXPECT_STREQ(read_snapshot(bytes.data(), bytes.size(), made.value).why, "is damaged: its checksum is wrong");
    EXPECT_EQ(made.value.config().settings.false_alarm, 1e-3);
    DetectorF narrow;
    const std::vector<char> wide = good_snapshot();
    EXPECT_STREQ(read_snapshot(wide.data(), wide.size(), narrow).why, "was written by another version of the library");
    EXPECT_FALSE(write_snapshot(made.value, bytes.data(), bytes.size() - 1).ok());
    EXPECT_FALSE(write_snapshot(made.value, nullptr, bytes.size()).ok());
}

TEST(Snapshot, NeedsNoAlignment) {
    std::vector<char> bytes(kSnapshotSize<double> + 1);
    const auto made = Detector::create(kurbel_test::inline4_config());
    ASSERT_TRUE(write_snapshot(made.value, bytes.data() + 1, kSnapshotSize<double>).ok());
    Detector detector;
    EXPECT_TRUE(read_snapshot(bytes.data() + 1, kSnapshotSize<double>, detector).ok());
}

}  // namespace
