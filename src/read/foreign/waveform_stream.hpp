// Edges from samples.
#pragma once

#include <memory>
#include <string>

#include "read/foreign/stream.hpp"

namespace kurbel::read {

/// What is known of a waveform.
struct WaveformRule {
    ItemKind kind = ItemKind::crank;
    std::string path;            ///< for messages
    std::string sensor;          ///< "inductive", "digital"; empty: to be found out
    std::string flank;           ///< "rising", "falling"; empty: to be found out
    double rate_hz = 0.0;        ///< 0: the table tells, or its times
    double hz = 1e9;             ///< of the recording's clock
    bool in_time_units = false;  ///< the table's first wish is the time of each sample, in ticks
};

/// From a table with the wishes time (where `in_time_units`) and number.
[[nodiscard]] std::unique_ptr<ItemStream> waveform_edges(std::unique_ptr<Table> table, const WaveformRule& rule);

/// A table of samples (one wish: number) with times in ns counted from the rate (0: the table's own) before them.
[[nodiscard]] std::unique_ptr<Table> counted_times(std::unique_ptr<Table> samples, double rate_hz);

}  // namespace kurbel::read
