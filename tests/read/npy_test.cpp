// The NumPy form of edges. That NumPy itself reads and writes the same bytes is checked in tests/command.
#include "../src/read/npy.hpp"

#include <gtest/gtest.h>

#include "read/folder.hpp"

namespace {

using namespace kurbel;
using namespace kurbel::read;
using kurbel::test::complaint;
using kurbel::test::Folder;
using kurbel::test::kToml;
using kurbel::test::reading_complaint;
using kurbel::test::timer_toml;

using Ticks = std::vector<std::int64_t>;

TEST(Npy, RoundTrip) {
    const Folder folder;
    folder.write("a.npy", npy_bytes(Ticks{1, -2, INT64_MAX}));
    const NpyArray integers = read_npy(folder.file("a.npy"));
    EXPECT_TRUE(integers.is_integer);
    EXPECT_EQ(integers.integers, (Ticks{1, -2, INT64_MAX}));
    folder.write("b.npy", npy_bytes(std::vector<double>{0.5, -1e300}));
    EXPECT_EQ(read_npy(folder.file("b.npy")).numbers, (std::vector<double>{0.5, -1e300}));
    folder.write("c.npy", npy_bytes(Ticks{}));
    EXPECT_TRUE(read_npy(folder.file("c.npy")).integers.empty());
    EXPECT_EQ(npy_bytes(Ticks{1}).size() % 64, 8U) << "the header is padded so that the data stand on 64 bytes";
}

TEST(Npy, TakesLaterVersionsOfTheFormat) {
    const Folder folder;
    const std::string header = "{'descr': '<i8', 'fortran_order': False, 'shape': (1,), }\n";
    for (const char version : {'\2', '\3'}) {
        std::string bytes = std::string("\x93NUMPY") + version + std::string("\0", 1);
        bytes += static_cast<char>(header.size());
        bytes += std::string("\0\0\0", 3) + header + std::string("\7\0\0\0\0\0\0\0", 8);
        folder.write("a.npy", bytes);
        EXPECT_EQ(read_npy(folder.file("a.npy")).integers, Ticks{7});
    }
}

/// A version 1 file with this header and so many bytes of data.
std::string file_of(const std::string& header, std::size_t data) {
    std::string bytes = std::string("\x93NUMPY\1\0", 8);
    bytes += static_cast<char>(header.size() & 0xFF);
    bytes += static_cast<char>(header.size() >> 8);
    return bytes + header + std::string(data, '\0');
}

TEST(Npy, RefusesEverythingElse) {
    const Folder folder;
    const auto said = [&](const std::string& bytes) {
        folder.write("a.npy", bytes);
        return complaint(folder, [&] { (void)read_npy(folder.file("a.npy")); });
    };
    EXPECT_EQ(said(""), "R/a.npy: is no NumPy array file");
    EXPECT_EQ(said("time_s,signal\n"), "R/a.npy: is no NumPy array file");
    EXPECT_EQ(said(std::string("\x93NUMPY\4\0\1\0x", 11)), "R/a.npy: has NumPy format version 4; 1 to 3 are known");
    EXPECT_EQ(said(std::string("\x93NUMPY\1\0\xFF\0x", 11)), "R/a.npy: is cut off in its header");
    EXPECT_EQ(said(std::string("\x93NUMPY\2\0\xFF\xFF\xFF\xFF", 12)), "R/a.npy: is cut off in its header");
    EXPECT_EQ(said(file_of("{'descr': '<i4', 'fortran_order': False, 'shape': (2,), }", 8)),
              "R/a.npy: must hold int64 ticks or float64 seconds (little endian)");
    EXPECT_EQ(said(file_of("{'descr': '>i8', 'fortran_order': False, 'shape': (1,), }", 8)),
              "R/a.npy: must hold int64 ticks or float64 seconds (little endian)");
    EXPECT_EQ(said(file_of("{'descr': '<i8', 'fortran_order': False, 'shape': (1, 2), }", 16)),
              "R/a.npy: must be one-dimensional");
    EXPECT_EQ(said(file_of("{'descr': '<i8', 'fortran_order': False, 'shape': (), }", 8)),
              "R/a.npy: must be one-dimensional");
    EXPECT_EQ(said(file_of("{'descr': '<i8'", 8)), "R/a.npy: must be one-dimensional");
    // A shape is compared with the file before anything is allocated for it.
    EXPECT_EQ(said(file_of("{'descr': '<i8', 'fortran_order': False, 'shape': (1152921504606846976,), }", 16)),
              "R/a.npy: tells of 1152921504606846976 values but holds 16 bytes of them");
    EXPECT_EQ(said(file_of("{'descr': '<f8', 'fortran_order': False, 'shape': (2,), }", 15)),
              "R/a.npy: tells of 2 values but holds 15 bytes of them");
}

TEST(NpyRecording, MergesByTimeCrankFirst) {
    const Folder folder;
    folder.write("recording.toml", timer_toml(1e6, 0));
    folder.write("crank.npy", npy_bytes(Ticks{10, 20, 30}));
    folder.write("cam.npy", npy_bytes(Ticks{5, 20, 40}));
    const Recording recording = read_recording(folder.path());
    EXPECT_EQ(recording.tick, (Ticks{5, 10, 20, 20, 30, 40}));
    EXPECT_EQ(recording.signal, (std::vector<std::uint8_t>{1, 0, 0, 1, 0, 1}));
    EXPECT_EQ(recording.files, (std::vector<std::string>{"recording.toml", "crank.npy", "cam.npy"}));
}

TEST(NpyRecording, SecondsBecomeNanoseconds) {
    const Folder folder;
    folder.write("recording.toml", kToml);
    folder.write("crank.npy", npy_bytes(std::vector<double>{0.000034, 36000.123456789}));
    EXPECT_EQ(read_recording(folder.path()).tick, (Ticks{34000, 36000123456789}));
}

TEST(NpyRecording, PutsWrappedCountersInOrder) {
    const Folder folder;
    folder.write("recording.toml", timer_toml(1e6, 32));
    folder.write("crank.npy", npy_bytes(Ticks{4294967290, 4294967295, 4, 9}));
    folder.write("cam.npy", npy_bytes(Ticks{4294967280, 6}));
    const Recording recording = read_recording(folder.path());
    EXPECT_EQ(recording.tick, (Ticks{4294967280, 4294967290, 4294967295, 4, 6, 9}));
    EXPECT_EQ(recording.signal, (std::vector<std::uint8_t>{1, 0, 0, 0, 1, 0}));
}

TEST(NpyRecording, Refusals) {
    const Folder folder;
    folder.write("recording.toml", timer_toml(1e6, 16));
    folder.write("crank.npy", npy_bytes(Ticks{10, 20}));
    folder.write("cam.npy", npy_bytes(Ticks{15}));
    EXPECT_NE(reading_complaint(folder).find("R/cam.npy: a counter of 16 bits wraps more often"), std::string::npos);
    folder.write("recording.toml", timer_toml(1e6, 0));
    folder.write("cam.npy", npy_bytes(std::vector<double>{1.0}));
    EXPECT_EQ(reading_complaint(folder), "R/cam.npy: must hold the same kind of values as crank.npy: ticks or seconds");
    std::filesystem::remove(folder.file("cam.npy"));
    folder.write("crank.npy", npy_bytes(Ticks{10, 30, 20}));
    EXPECT_EQ(reading_complaint(folder), "R/crank.npy: value 2 (counted from 0): time runs backwards");
    folder.write("crank.npy", npy_bytes(Ticks{}));
    EXPECT_EQ(reading_complaint(folder), "R/crank.npy: holds no edges: the recording is empty");
    folder.write("crank.npy", npy_bytes(Ticks{INT64_MIN}));
    EXPECT_EQ(reading_complaint(folder), "R/crank.npy: value 0 (counted from 0): does not lie within 2^62");
    folder.write("crank.npy", npy_bytes(std::vector<double>{0.1, kUnknown}));
    EXPECT_EQ(reading_complaint(folder), "R/crank.npy: value 1 (counted from 0): is not a finite number of seconds");
    folder.write("crank.npy", npy_bytes(std::vector<double>{1e30}));
    EXPECT_EQ(reading_complaint(folder), "R/crank.npy: value 0 (counted from 0): is not within 146 years of zero");
    folder.write("recording.toml", kToml);
    folder.write("crank.npy", npy_bytes(Ticks{1}));
    EXPECT_EQ(reading_complaint(folder),
              "R/crank.npy: holds ticks, but recording.toml has no [timer] that says how many a second");
}

}  // namespace
