// What a foreign file comes down to: edges and channel values, one after the other in order of time.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/core/types.hpp"
#include "read/foreign/table.hpp"

namespace kurbel::read {

/// Order at equal times: a channel's value before the edge, the crank before the cam.
enum class ItemKind : std::uint8_t { channel = 0, crank = 1, cam = 2 };

struct Item {
    std::int64_t tick = 0;     ///< on the recording's clock, unwrapped
    std::int64_t time_ns = 0;  ///< channel: its time
    ItemKind kind = ItemKind::crank;
    Channel channel = Channel::load;
    double value = 0.0;
};

/// Items in order of time; memory is bounded.
class ItemStream {
  public:
    ItemStream() = default;
    ItemStream(const ItemStream&) = delete;
    ItemStream& operator=(const ItemStream&) = delete;
    virtual ~ItemStream() = default;

    /// The next item; false at the end. Throws InputError.
    virtual bool next(Item& item) = 0;
    [[nodiscard]] virtual double done() const = 0;
    /// Sentences about the signal that the reader of a report should know; complete at the end of the stream.
    [[nodiscard]] virtual std::vector<std::string> warnings() const { return {}; }
};

/// The clock that the ticks of a file are counted by.
struct FileClock {
    TimerConfig timer{};  ///< of the file: bits > 0 where it wraps
    std::string unit = "s";
};

/// A list of edge times, from a table with one wish: time.
[[nodiscard]] std::unique_ptr<ItemStream> edge_list(std::unique_ptr<Table> table, ItemKind kind,
                                                    const FileClock& clock);

/// What a word in a column of words stands for.
struct WordMeaning {
    ItemKind kind = ItemKind::crank;
    Channel channel = Channel::load;
};

/// Rows of many kinds, from a table with the wishes time, word and, where `has_value`, number.
[[nodiscard]] std::unique_ptr<ItemStream> mixed_list(std::unique_ptr<Table> table, std::vector<WordMeaning> words,
                                                     bool has_value, const FileClock& clock);

/// The flanks of a digital signal, from a table with the wishes time and number; the level is high above 0.5.
[[nodiscard]] std::unique_ptr<ItemStream> level_edges(std::unique_ptr<Table> table, ItemKind kind, bool falling,
                                                      const FileClock& clock);

/// How samples of a channel become its values.
struct ChannelRule {
    Channel channel = Channel::load;
    std::int64_t interval_ns = 0;  ///< averaged over intervals of this length; 0: every change
    double hz = 1e9;               ///< of the recording's clock
    bool in_ticks = false;         ///< the table's times are ticks of that clock, else ns
    double offset_s = 0.0;         ///< the recording's clock reads offset_s + (1 + drift) times the channel's
    double drift = 0.0;
};

/// A channel, from a table with the wishes time and number. Values repeat only where they change.
[[nodiscard]] std::unique_ptr<ItemStream> channel_values(std::unique_ptr<Table> table, const ChannelRule& rule);

/// All of several streams, in order of time.
[[nodiscard]] std::unique_ptr<ItemStream> merged(std::vector<std::unique_ptr<ItemStream>> streams);

/// How the load column becomes load.
struct LoadRule {
    std::string unit = "share";
    double full_load = 1.0;
    double barometric_kpa = 101.325;
    double throttle_bore_mm = 0.0;
    double cylinder_cm3 = 0.0;  ///< displacement of one cylinder; 0 = unknown
    int cylinders = 0;
    int strokes = 4;
    int teeth = 0;  ///< of the crank wheel; speed is taken from its edges
    double hz = 1e9;
};

/// `stream` with its load converted by `rule`, and every channel's value checked against wide limits that find wrong units.
[[nodiscard]] std::unique_ptr<ItemStream> converted(std::unique_ptr<ItemStream> stream, const LoadRule& rule,
                                                    const std::string& path);

}  // namespace kurbel::read
