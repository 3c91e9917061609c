// Where a stream of edges and channel values is written to.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "kurbel/core/config.hpp"
#include "read/foreign/stream.hpp"

namespace kurbel::read {

class Sink {
  public:
    Sink() = default;
    Sink(const Sink&) = delete;
    Sink& operator=(const Sink&) = delete;
    virtual ~Sink() = default;

    /// Items in order of time. Throws InputError where they cannot be written.
    virtual void take(const Item& item) = 0;
    /// The last one was taken.
    virtual void finish() = 0;
};

/// Files of a recording folder (recording.toml, edges.csv or the arrays, channels.csv) in `folder`, which exists.
[[nodiscard]] std::unique_ptr<Sink> folder_sink(const std::string& folder, const Config& config,
                                                const std::vector<Channel>& channels, bool npy);

/// A file that is written under a name of its own until it is whole; messages call it by the one that it gets.
struct SinkFile {
    std::string path;
    std::string name;
};

/// A value change dump (IEEE 1364-2005, clause 18): edges are events, channels are reals, and a comment holds recording.toml.
[[nodiscard]] std::unique_ptr<Sink> vcd_sink(const SinkFile& file, const Config& config,
                                             const std::vector<Channel>& channels);

/// A Parquet table: tick, signal, value; recording.toml stands in its metadata. Python's pyarrow writes it.
[[nodiscard]] std::unique_ptr<Sink> parquet_sink(const SinkFile& file, const Config& config);

}  // namespace kurbel::read
