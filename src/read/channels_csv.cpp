// channels.csv and truth.csv.
#include <cmath>
#include <optional>

#include "read/csv.hpp"
#include "read/decimal.hpp"
#include "read/nearest_word.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

/// A column of channels.csv that is a channel, and the values that it may take. The limits are wide on purpose: they find
/// wrong units (percent for a share, kelvin for degrees), not unusual engines.
struct ChannelColumn {
    int column = -1;
    Channel channel = Channel::load;
    double low = 0.0;
    double high = 0.0;
    bool is_flag = false;
};

std::vector<ChannelColumn> find_channels(const CsvTable& table, int cylinders) {
    std::vector<ChannelColumn> found;
    const auto add = [&](const std::string& name, Channel channel, double low, double high, bool is_flag) {
        if (const int column = table.find(name); column >= 0) found.push_back({column, channel, low, high, is_flag});
    };
    add("load", Channel::load, 0.0, 10.0, false);
    add("fuel_cut", Channel::fuel_cut, 0.0, 1.0, true);
    add("coolant_c", Channel::coolant_c, -80.0, 250.0, false);
    add("vehicle_kmh", Channel::vehicle_kmh, 0.0, 600.0, false);
    for (int cylinder = 1; cylinder <= cylinders; ++cylinder)
        add("fuel_cut_" + std::to_string(cylinder), fuel_cut_channel(cylinder), 0.0, 1.0, true);
    return found;
}

/// Columns that are read by nobody are fine, but one that looks like a channel's name may well be meant as one.
void note_misspelt(const CsvTable& table, int cylinders, std::vector<std::string>& notes) {
    std::vector<std::string> known{"time_s", "load", "fuel_cut", "coolant_c", "vehicle_kmh"};
    for (int cylinder = 1; cylinder <= cylinders; ++cylinder) known.push_back("fuel_cut_" + std::to_string(cylinder));
    constexpr std::size_t kSlip = 2;  // letters; two that changed places
    for (const std::string_view column : table.columns()) {
        const std::string guess = nearest_word(column, known);
        const std::size_t distance = edit_distance(column, guess);
        // A further fuel_cut_N is of a cylinder that this engine has not.
        if (distance == 0 || distance > kSlip || column.size() <= 2 * kSlip - 1 || table.find(guess) >= 0) continue;
        notes.push_back("channels.csv: column " + shown(column) + " is not known and was left out; was " + guess +
                        " meant?");
    }
}

/// Time of a row in ns, never before the row above.
std::int64_t parse_time(const CsvTable& table, int column, Rounding rounding, std::int64_t before) {
    const std::optional<std::int64_t> time_ns = scaled_decimal(table.field(column), 9, rounding);
    if (!time_ns || *time_ns < -kMostTicks || *time_ns > kMostTicks)
        table.fail_field(column, "must be a finite number of seconds");
    if (*time_ns < before) table.fail_field(column, "time runs backwards: must not come before the row above");
    return *time_ns;
}

double number_or_unknown(const CsvTable& table, int column, double low, double high) {
    return column < 0 || table.field(column).empty() ? kUnknown : table.number(column, low, high);
}

}  // namespace

std::int64_t ceil_tick(std::int64_t time_ns, double hz) noexcept {
    constexpr std::int64_t kSecond = 1000000000;
    constexpr double kMostExactHz = 9.0e9;  // rest * hz then fits 63 bits
    std::int64_t seconds = time_ns / kSecond;
    std::int64_t rest = time_ns % kSecond;
    if (rest < 0) {
        rest += kSecond;
        --seconds;
    }
    if (hz != std::floor(hz) || hz > kMostExactHz) {
        const double tick = static_cast<double>(seconds) * hz + std::ceil(static_cast<double>(rest) * hz / 1e9);
        const double most = static_cast<double>(kMostTicks);
        return static_cast<std::int64_t>(std::ceil(std::fmin(std::fmax(tick, -most), most)));
    }
    const auto whole_hz = static_cast<std::int64_t>(hz);
    if (seconds > kMostTicks / whole_hz) return kMostTicks;
    if (seconds < -kMostTicks / whole_hz) return -kMostTicks;
    return seconds * whole_hz + (rest * whole_hz + kSecond - 1) / kSecond;
}

std::int64_t time_of_tick(std::int64_t tick, double hz) noexcept {
    constexpr std::int64_t kNanoseconds = 1000000000;
    const auto whole_seconds = static_cast<std::int64_t>(std::floor(static_cast<double>(tick) / hz));
    const double rest = static_cast<double>(tick) - static_cast<double>(whole_seconds) * hz;
    std::int64_t time_ns = whole_seconds * kNanoseconds + static_cast<std::int64_t>(std::floor(rest / hz * 1e9));
    while (ceil_tick(time_ns, hz) > tick) --time_ns;
    return time_ns;
}

std::vector<ChannelRow> read_channels(const std::string& path, const Config& config, std::vector<std::string>& notes) {
    CsvTable table(path);
    const int time_column = table.require("time_s");
    const std::vector<ChannelColumn> channels = find_channels(table, config.engine.cylinders);
    note_misspelt(table, config.engine.cylinders, notes);
    std::vector<ChannelRow> rows;
    std::int64_t time_ns = -kMostTicks;
    while (table.next()) {
        time_ns = parse_time(table, time_column, Rounding::up, time_ns);
        const std::int64_t tick = ceil_tick(time_ns, config.timer.hz);
        for (const ChannelColumn& channel : channels) {
            if (table.field(channel.column).empty()) continue;
            const double value = channel.is_flag ? (table.flag(channel.column) ? 1.0 : 0.0)
                                                 : table.number(channel.column, channel.low, channel.high);
            rows.push_back({tick, channel.channel, value});
        }
    }
    return rows;
}

std::vector<TruthRow> read_truth(const std::string& path, int cylinders) {
    CsvTable table(path);
    const int time_column = table.require("time_s");
    const int cylinder_column = table.require("cylinder");
    const int severity_column = table.require("severity");
    const int fuel_cut_column = table.require("fuel_cut");
    const int work_column = table.find("work_j");
    const int pressure_column = table.find("tdc_bar");
    std::vector<TruthRow> rows;
    std::int64_t time_ns = -kMostTicks;
    while (table.next()) {
        time_ns = parse_time(table, time_column, Rounding::nearest, time_ns);
        TruthRow row;
        row.time_s = *finite_number(table.field(time_column));
        const std::optional<std::int64_t> cylinder = whole_number(table.field(cylinder_column));
        if (!cylinder || *cylinder < 1 || *cylinder > cylinders)
            table.fail_field(cylinder_column, "must be a cylinder, 1 to " + std::to_string(cylinders));
        row.cylinder = static_cast<std::int32_t>(*cylinder);
        row.severity = number_or_unknown(table, severity_column, 0.0, 1.0);
        row.fuel_cut = table.flag(fuel_cut_column);
        row.work_j = number_or_unknown(table, work_column, -1e9, 1e9);
        row.tdc_bar = number_or_unknown(table, pressure_column, -1e4, 1e4);
        rows.push_back(row);
    }
    return rows;
}

}  // namespace kurbel::read
