// Recordings in files that others wrote: text, sound, value change dumps, NumPy archives, HDF5, Parquet, MDF. A mapping says which
// column means what (kurbel/read/mapping.hpp). Files of any length are read in bounded memory; only edges are ever kept.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "kurbel/read/mapping.hpp"
#include "kurbel/read/recording.hpp"

namespace kurbel::read {

/// A foreign file and what is known of it.
struct ForeignFile {
    std::string path;
    Mapping mapping{};
    std::string
        description;  ///< file with [engine], [crank_wheel], [cam_wheel]; empty: those of `mapping_file`, else the file's own
    std::string mapping_file;  ///< where `mapping` was read from; empty: nowhere
};

/// The file with the mapping that lies beside it, or with an empty one. Throws InputError where the mapping cannot be read.
[[nodiscard]] ForeignFile foreign_file(const std::string& path);

/// Whether a description of the engine must be there. Without one the recording's engine and wheel stay at their defaults:
/// enough for looking at edges, not for judging.
enum class Description : std::uint8_t { needed, optional };

/// Reads a foreign file whole. Ticks are unwrapped (timer.bits is 0).
/// Throws InputError (file, line or value, cause, what to do).
[[nodiscard]] Recording read_foreign(const ForeignFile& file, Description description = Description::needed,
                                     const Progress& progress = {});

/// What was written by a conversion.
struct ConversionCount {
    std::int64_t crank_edges = 0;
    std::int64_t cam_edges = 0;
    std::int64_t channel_rows = 0;
    double seconds = 0.0;  ///< first to last edge
    std::vector<std::string> warnings;
};

/// Converts a foreign file or a recording folder into what the name `out` says: X.vcd, X.parquet, else a recording folder
/// (edges.csv, or crank.npy and cam.npy with `npy`). A foreign file is streamed: memory does not grow with it. `out` appears
/// whole or not at all. Throws InputError.
[[nodiscard]] ConversionCount convert(const ForeignFile& file, const std::string& out, bool npy = false,
                                      const Progress& progress = {});

}  // namespace kurbel::read
