// A foreign file opened by its mapping: what it is of, and the stream of what it holds.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "kurbel/read/foreign.hpp"
#include "read/foreign/stream.hpp"

namespace kurbel::read {

struct Source {
    Config config{};                ///< timer: the clock of the items, never wrapping
    bool described = false;         ///< engine and wheel are known
    std::vector<Channel> channels;  ///< that may occur
    int wheel_line = 0;             ///< of the description's file where [crank_wheel] stands
    std::string description_file;   ///< where engine and wheel were told; for messages
    std::unique_ptr<ItemStream> items;
};

/// Opens it. Throws InputError.
[[nodiscard]] Source open_source(const ForeignFile& file, Description description);

/// The mapping with everything that was left open decided: format, content, unit of times.
struct Plan {
    Mapping mapping;
    FileContents contents;
    FileClock clock;   ///< of the file's times
    bool own = false;  ///< kurbel wrote the file: it tells everything itself
};

[[nodiscard]] Plan make_plan(const ForeignFile& file);

/// The streams of edges and channels that the plan speaks of; `channels` is given those that may occur. `hz` is the clock's.
[[nodiscard]] std::vector<std::unique_ptr<ItemStream>> open_streams(const std::string& path, const Plan& plan,
                                                                    std::vector<Channel>& channels);

[[nodiscard]] const std::vector<Channel>& all_channels();

}  // namespace kurbel::read
