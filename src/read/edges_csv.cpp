// edges.csv: one row an edge, in ticks or in seconds.
#include <optional>

#include "kurbel/read/input_error.hpp"
#include "read/csv.hpp"
#include "read/decimal.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

Signal parse_signal(const CsvTable& table, int column) {
    const std::string_view text = table.field(column);
    if (text == "crank") return Signal::crank;
    if (text == "cam") return Signal::cam;
    table.fail_field(column, "must be crank or cam");
}

std::int64_t parse_seconds(const CsvTable& table, int column) {
    const std::optional<std::int64_t> nanoseconds = scaled_decimal(table.field(column), 9, Rounding::nearest);
    if (!nanoseconds) table.fail_field(column, "must be a finite number of seconds");
    if (*nanoseconds < -kMostTicks || *nanoseconds > kMostTicks)
        table.fail_field(column, "must be within 146 years of zero");
    return *nanoseconds;
}

std::int64_t parse_tick(const CsvTable& table, int column, int bits) {
    const std::optional<std::int64_t> tick = whole_number(table.field(column));
    if (!tick) table.fail_field(column, "must be a whole number");
    const std::int64_t low = bits > 0 ? 0 : -kMostTicks;
    const std::int64_t high = bits > 0 ? (std::int64_t{1} << bits) - 1 : kMostTicks;
    if (*tick < low || *tick > high)
        table.fail_field(column, bits > 0 ? "must fit a counter of " + std::to_string(bits) + " bits (timer.bits)"
                                          : std::string("must lie within 2^62"));
    return *tick;
}

/// The column that tells time: `tick` where both stand and a timer is named, for it is exact.
bool ticks_tell_time(const CsvTable& table, bool has_timer) {
    if (table.find("tick") >= 0 && (has_timer || table.find("time_s") < 0)) return true;
    (void)table.require("time_s");
    return false;
}

}  // namespace

void read_edges_csv(const std::string& path, bool has_timer, Recording& recording) {
    CsvTable table(path);
    const bool in_ticks = ticks_tell_time(table, has_timer);
    if (in_ticks && !has_timer)
        throw InputError(path, 1, "edges are ticks, but recording.toml has no [timer] that says how many a second");
    if (!in_ticks) recording.config.timer = TimerConfig{};
    const int time_column = table.require(in_ticks ? "tick" : "time_s");
    const int signal_column = table.require("signal");
    const int bits = recording.config.timer.bits;
    constexpr std::size_t kTypicalRow = 14;  // bytes; only spares the vectors some growing
    recording.tick.reserve(table.bytes() / kTypicalRow);
    recording.signal.reserve(table.bytes() / kTypicalRow);
    std::string_view before;
    bool crank_seen = false;
    while (table.next()) {
        const std::int64_t tick = in_ticks ? parse_tick(table, time_column, bits) : parse_seconds(table, time_column);
        if (!recording.tick.empty() && runs_backwards(recording.tick.back(), tick, bits))
            table.fail_field(time_column, "time runs backwards: must not come before " + shown(before));
        const Signal signal = parse_signal(table, signal_column);
        before = table.field(time_column);
        crank_seen = crank_seen || signal == Signal::crank;
        recording.tick.push_back(tick);
        recording.signal.push_back(static_cast<std::uint8_t>(signal));
    }
    if (recording.tick.empty()) throw InputError(path, 1, "holds no edges: the recording is empty");
    if (!crank_seen) throw InputError(path, 0, "holds cam edges alone, none of the crank");
}

}  // namespace kurbel::read
