#include "kurbel/read/recording_writer.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <limits>
#include <stdexcept>
#include <string_view>

#include "kurbel/read/input_error.hpp"
#include "read/config_toml.hpp"
#include "read/npy.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

constexpr std::int64_t kSecond = 1000000000;

void write_file(const std::string& path, std::string_view bytes) {
    std::ofstream stream(path, std::ios::binary | std::ios::trunc);
    stream.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    stream.close();
    if (!stream) throw InputError(path, 0, "cannot be written");
}

void append(std::string& text, std::int64_t value) {
    std::array<char, 24> buffer{};
    text.append(buffer.data(), std::to_chars(buffer.data(), buffer.data() + buffer.size(), value).ptr);
}

void append(std::string& text, double value) {
    if (std::isnan(value)) return;
    std::array<char, 40> buffer{};
    text.append(buffer.data(), std::to_chars(buffer.data(), buffer.data() + buffer.size(), value).ptr);
}

std::vector<std::int64_t> unwrapped_clock(const Recording& recording) {
    std::vector<std::int64_t> clock = recording.tick;
    for (std::size_t i = 1; i < clock.size(); ++i)
        clock[i] = unwrap_tick(clock[i - 1], recording.tick[i - 1], recording.tick[i], recording.config.timer.bits);
    return clock;
}

std::string edges_text(const Recording& recording, bool seconds) {
    std::string text = seconds ? "time_s,signal\n" : "tick,signal\n";
    for (std::size_t i = 0; i < recording.tick.size(); ++i) {
        if (seconds)
            append_seconds(text, recording.tick[i]);
        else
            append(text, recording.tick[i]);
        text += recording.signal[i] == static_cast<std::uint8_t>(Signal::cam) ? ",cam\n" : ",crank\n";
    }
    return text;
}

std::string array_bytes(const std::vector<std::int64_t>& ticks, bool seconds) {
    if (!seconds) return npy_bytes(ticks);
    std::vector<double> times;
    times.reserve(ticks.size());
    for (const std::int64_t tick : ticks) times.push_back(static_cast<double>(tick) / 1e9);
    return npy_bytes(times);
}

void write_arrays(const std::string& folder, const Recording& recording, bool seconds) {
    const std::vector<std::int64_t> clock = unwrapped_clock(recording);
    std::array<std::vector<std::int64_t>, 2> by_signal;
    for (std::size_t i = 0; i < clock.size(); ++i) by_signal[recording.signal[i] & 1U].push_back(clock[i]);
    write_file(folder + "/crank.npy", array_bytes(by_signal[0], seconds));
    if (!by_signal[1].empty()) write_file(folder + "/cam.npy", array_bytes(by_signal[1], seconds));
}

constexpr std::size_t kChannels = static_cast<std::size_t>(Channel::fuel_cut_first) + kMaxCylinders;

/// One line a tick, with a column for each channel that occurs; what has no row at a tick stays empty.
std::string channels_text(const Recording& recording) {
    std::array<bool, kChannels> used{};
    for (const ChannelRow& row : recording.channels) used[static_cast<std::size_t>(row.channel)] = true;
    std::string text = "time_s";
    for (std::size_t channel = 0; channel < kChannels; ++channel)
        if (used[channel]) text.append(1, ',').append(channel_name(static_cast<Channel>(channel)));
    text += '\n';
    std::array<double, kChannels> values{};
    for (std::size_t i = 0; i < recording.channels.size();) {
        const std::int64_t tick = recording.channels[i].tick;
        values.fill(kUnknown);
        for (; i < recording.channels.size() && recording.channels[i].tick == tick; ++i) {
            double& value = values[static_cast<std::size_t>(recording.channels[i].channel)];
            if (!std::isnan(value)) break;  // a second value at this tick: a line of its own keeps their order
            value = recording.channels[i].value;
        }
        append_seconds(text, time_of_tick(tick, recording.config.timer.hz));
        for (std::size_t channel = 0; channel < kChannels; ++channel) {
            if (!used[channel]) continue;
            text += ',';
            append(text, values[channel]);
        }
        text += '\n';
    }
    return text;
}

std::string truth_text(const std::vector<TruthRow>& rows) {
    bool has_work = false;
    bool has_pressure = false;
    for (const TruthRow& row : rows) {
        has_work = has_work || !std::isnan(row.work_j);
        has_pressure = has_pressure || !std::isnan(row.tdc_bar);
    }
    std::string text = std::string("time_s,cylinder,severity,fuel_cut") + (has_work ? ",work_j" : "") +
                       (has_pressure ? ",tdc_bar" : "") + "\n";
    for (const TruthRow& row : rows) {
        append_seconds(text, static_cast<std::int64_t>(std::round(row.time_s * 1e9)));
        text += ',';
        append(text, std::int64_t{row.cylinder});
        text += ',';
        append(text, row.severity);
        text += row.fuel_cut ? ",1" : ",0";
        if (has_work) append(text += ',', row.work_j);
        if (has_pressure) append(text += ',', row.tdc_bar);
        text += '\n';
    }
    return text;
}

void check(const Recording& recording, const WriteOptions& options) {
    if (recording.tick.size() != recording.signal.size())
        throw std::invalid_argument("recording.tick and recording.signal differ in length");
    const TimerConfig& timer = recording.config.timer;
    if (options.seconds && (timer.hz != 1e9 || timer.bits != 0))
        throw std::invalid_argument("seconds need timer.hz = 1e9 and timer.bits = 0");
}

}  // namespace

void append_seconds(std::string& text, std::int64_t nanoseconds) {
    if (nanoseconds < 0) text += '-';
    const std::int64_t magnitude = nanoseconds < 0 ? -nanoseconds : nanoseconds;
    append(text, magnitude / kSecond);
    std::string places = std::to_string(magnitude % kSecond);
    text += '.';
    text.append(9 - places.size(), '0').append(places);
}

std::string channel_name(Channel channel) {
    switch (channel) {
        case Channel::load: return "load";
        case Channel::fuel_cut: return "fuel_cut";
        case Channel::coolant_c: return "coolant_c";
        case Channel::vehicle_kmh: return "vehicle_kmh";
        case Channel::fuel_cut_first: break;
    }
    return "fuel_cut_" + std::to_string(static_cast<int>(channel) - static_cast<int>(Channel::fuel_cut_first) + 1);
}

void write_recording(const std::string& folder, const Recording& recording, const WriteOptions& options) {
    check(recording, options);
    std::error_code error;
    std::filesystem::create_directory(folder, error);
    if (!std::filesystem::is_directory(folder)) throw InputError(folder, 0, "cannot be created as a folder");
    Config config = recording.config;
    if (options.npy) config.timer.bits = 0;
    write_file(folder + "/recording.toml", "contract = 1\n\n" + to_toml(config, !options.seconds));
    if (options.npy)
        write_arrays(folder, recording, options.seconds);
    else
        write_file(folder + "/edges.csv", edges_text(recording, options.seconds));
    if (!recording.channels.empty()) write_file(folder + "/channels.csv", channels_text(recording));
    if (recording.has_truth) write_file(folder + "/truth.csv", truth_text(recording.truth));
}

}  // namespace kurbel::read
