// A recording folder in memory: what was measured (edges, channels), on what engine, and the truth where it is known.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"

namespace kurbel::read {

/// One value of one channel; it holds from its tick until the channel's next row.
struct ChannelRow {
    std::int64_t tick = 0;  ///< on the unwrapped clock: the first tick that is not before the row's time
    Channel channel = Channel::load;
    double value = 0.0;  ///< never NaN: an unknown value has no row
};

/// One labelled firing.
struct TruthRow {
    double time_s = 0.0;         ///< firing TDC on the recording's clock
    std::int32_t cylinder = 0;   ///< 1-based
    double severity = kUnknown;  ///< share of the heat removed on purpose, 0 to 1; NaN = not labelled
    bool fuel_cut = false;       ///< no fuel was meant to be there
    double work_j = kUnknown;    ///< indicated work
    double tdc_bar = kUnknown;   ///< gauge pressure at TDC
};

/// A whole recording. `tick` and `signal` have one entry an edge, in order of time.
struct Recording {
    Config config{};                   ///< settings at their defaults; timer 1e9 Hz, 0 bits where the file has seconds
    std::vector<std::int64_t> tick;    ///< raw timer ticks as they stand in the file: wrapped where timer.bits > 0
    std::vector<std::uint8_t> signal;  ///< static_cast<std::uint8_t>(Signal) of each edge
    std::vector<ChannelRow> channels;  ///< in order of tick
    bool has_truth = false;            ///< a truth file exists (its list may be empty)
    std::vector<TruthRow> truth;       ///< in order of time
    int wheel_line = 0;                ///< line of recording.toml where [crank_wheel] stands; 0 = not from a file
    std::string folder;                ///< where `files` lie
    std::vector<std::string> files;    ///< names within the folder of the files that were read
    std::vector<std::string> notes;    ///< what looked wrong about the signal, a sentence each
    std::string described_in;          ///< path of the file that tells of engine and wheel; for messages
};

/// Called now and then with the share done, 0 to 1.
using Progress = std::function<void(double)>;

/// Whether labels are wanted. What nobody asks for cannot be wrong: left out, a truth.csv is listed among the files but not read.
enum class Labels { read, left_out };

/// Reads the folder `folder`: recording.toml, edges.csv or crank.npy and cam.npy, and where they exist channels.csv and
/// truth.csv. Text is UTF-8 (a byte-order mark and Windows line ends are accepted), columns may stand in any order, extra
/// columns are ignored. Seconds become ticks of 1 ns exactly. In the NumPy form, a crank edge comes before a cam edge of
/// the same tick. A file in place of a folder is read by the mapping that lies beside it (kurbel/read/foreign.hpp).
/// Throws InputError (file, line, cause); std::bad_alloc.
[[nodiscard]] Recording read_recording(const std::string& folder, const Progress& progress = {},
                                       Labels labels = Labels::read);

/// Reads a truth file alone; `cylinders` bounds its cylinder numbers. Throws InputError.
[[nodiscard]] std::vector<TruthRow> read_truth(const std::string& path, int cylinders);

/// Adds a raw tick to an unwrapped clock: `unwrapped` (of the edge before, whose raw tick was `raw_before`) plus the step
/// modulo 2^bits. With bits = 0 the raw tick is the clock.
[[nodiscard]] std::int64_t unwrap_tick(std::int64_t unwrapped, std::int64_t raw_before, std::int64_t raw,
                                       int bits) noexcept;

/// Seconds from the first to the last edge; 0 with fewer than two.
[[nodiscard]] double duration_s(const Recording& recording) noexcept;

}  // namespace kurbel::read
