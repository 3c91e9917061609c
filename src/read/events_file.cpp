#include "kurbel/read/events_file.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstring>
#include <fstream>
#include <optional>

#include "kurbel/read/input_error.hpp"
#include "read/csv.hpp"
#include "read/decimal.hpp"

namespace kurbel::read {

namespace {

/// The plain numbers among the columns, in the file's order.
struct NumberColumn {
    const char* name;
    double Event::*member;
};
constexpr std::array<NumberColumn, 10> kNumbers{{{"speed_rpm", &Event::speed_rpm},
                                                 {"load", &Event::load},
                                                 {"acceleration_rad_s2", &Event::acceleration_rad_s2},
                                                 {"work_j", &Event::work_j},
                                                 {"work_se_j", &Event::work_se_j},
                                                 {"expected_j", &Event::expected_j},
                                                 {"severity", &Event::severity},
                                                 {"evidence", &Event::evidence},
                                                 {"threshold", &Event::threshold},
                                                 {"probability", &Event::probability}}};

void append(std::string& text, double value, std::chars_format format, int digits) {
    if (std::isnan(value)) return;
    std::array<char, 400> buffer{};
    text.append(buffer.data(), std::to_chars(buffer.data(), buffer.data() + buffer.size(), value, format, digits).ptr);
}

/// A channel's value passes the core as float: the shortest text that says the same float is what the channel said.
void append_channel(std::string& text, double value) {
    const auto narrow = static_cast<float>(value);
    if (static_cast<double>(narrow) != value) return append(text, value, std::chars_format::general, 9);
    std::array<char, 64> buffer{};
    text.append(buffer.data(), std::to_chars(buffer.data(), buffer.data() + buffer.size(), narrow).ptr);
}

void append(std::string& text, std::int64_t value) {
    std::array<char, 24> buffer{};
    text.append(buffer.data(), std::to_chars(buffer.data(), buffer.data() + buffer.size(), value).ptr);
}

void append_row(std::string& text, const Event& event) {
    append(text, event.time_s, std::chars_format::fixed, 9);
    append(text += ',', event.cycle);
    text += ',';
    if (event.cylinder > 0) append(text, std::int64_t{event.cylinder});
    text += ',';
    if (event.cylinder == 0 && event.candidates[0] > 0) append(text, std::int64_t{event.candidates[0]});
    if (event.cylinder == 0 && event.candidates[1] > 0) append(text += '|', std::int64_t{event.candidates[1]});
    for (const NumberColumn& column : kNumbers) {
        text += ',';
        if (column.member == &Event::load)
            append_channel(text, event.load);
        else
            append(text, event.*column.member, std::chars_format::general, 9);
    }
    text.append(1, ',').append(name(event.verdict)).append(1, ',');
    if (event.verdict == Verdict::unjudged) text.append(name(event.reason));
    text += '\n';
}

// ---- reading ------------------------------------------------------------------------------------------------------

struct EventColumns {
    explicit EventColumns(const CsvTable& table)
        : time(table.require("time_s")),
          cycle(table.require("cycle")),
          cylinder(table.require("cylinder")),
          candidates(table.require("candidates")),
          verdict(table.require("verdict")),
          reason(table.require("reason")) {
        for (std::size_t i = 0; i < kNumbers.size(); ++i) numbers[i] = table.require(kNumbers[i].name);
    }
    int time, cycle, cylinder, candidates, verdict, reason;
    std::array<int, kNumbers.size()> numbers{};
};

std::int32_t parse_cylinder(const CsvTable& table, int column, std::string_view text) {
    const std::optional<std::int64_t> number = whole_number(text);
    if (!number || *number < 1 || *number > kMaxCylinders) table.fail_field(column, "must be a cylinder, 1 to 16");
    return static_cast<std::int32_t>(*number);
}

void parse_cylinders(const CsvTable& table, const EventColumns& columns, Event& event) {
    if (!table.field(columns.cylinder).empty())
        event.cylinder = parse_cylinder(table, columns.cylinder, table.field(columns.cylinder));
    const std::string_view text = table.field(columns.candidates);
    if (text.empty()) return;
    const std::size_t bar = text.find('|');
    event.candidates[0] = parse_cylinder(table, columns.candidates, text.substr(0, bar));
    if (bar != std::string_view::npos)
        event.candidates[1] = parse_cylinder(table, columns.candidates, text.substr(bar + 1));
}

/// The value of an enumeration whose name stands in the field; `count` values from 0.
template <class Enum>
Enum parse_name(const CsvTable& table, int column, int count, const char* what) {
    for (int value = 0; value < count; ++value)
        if (table.field(column) == name(static_cast<Enum>(value))) return static_cast<Enum>(value);
    table.fail_field(column, what);
}

Event parse_event(const CsvTable& table, const EventColumns& columns) {
    constexpr double kLargest = 1e300;
    Event event;
    event.time_s = table.number(columns.time, -kLargest, kLargest);
    const std::optional<std::int64_t> cycle = whole_number(table.field(columns.cycle));
    if (!cycle) table.fail_field(columns.cycle, "must be a whole number");
    event.cycle = *cycle;
    parse_cylinders(table, columns, event);
    for (std::size_t i = 0; i < kNumbers.size(); ++i)
        if (!table.field(columns.numbers[i]).empty())
            event.*kNumbers[i].member = table.number(columns.numbers[i], -kLargest, kLargest);
    event.verdict = parse_name<Verdict>(table, columns.verdict, 3, "must be fired, misfire or unjudged");
    event.reason = parse_name<Reason>(table, columns.reason, 9, "must be a known reason");
    return event;
}

}  // namespace

const char* events_header() noexcept {
    return "time_s,cycle,cylinder,candidates,speed_rpm,load,acceleration_rad_s2,work_j,work_se_j,expected_j,severity,"
           "evidence,threshold,probability,verdict,reason";
}

void write_events(const std::string& path, const std::vector<Event>& events) {
    std::ofstream stream(path, std::ios::binary | std::ios::trunc);
    std::string text = std::string(events_header()) + "\n";
    constexpr std::size_t kFlushBytes = std::size_t{1} << 20;
    for (const Event& event : events) {
        append_row(text, event);
        if (text.size() < kFlushBytes) continue;
        stream << text;
        text.clear();
    }
    stream << text;
    stream.close();
    if (!stream) throw InputError(path, 0, "cannot be written");
}

std::vector<Event> read_events(const std::string& path) {
    CsvTable table(path);
    const EventColumns columns(table);
    std::vector<Event> events;
    while (table.next()) {
        events.push_back(parse_event(table, columns));
        if (events.size() > 1 && events.back().time_s < events[events.size() - 2].time_s)
            table.fail_field(columns.time, "time runs backwards: must not come before the row above");
    }
    return events;
}

}  // namespace kurbel::read
