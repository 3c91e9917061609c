// The parts that read_recording is made of, one file each.
#pragma once

#include <cstdint>
#include <string>

#include "kurbel/read/recording.hpp"
#include "read/config_toml.hpp"

namespace kurbel::read {

/// Largest tick magnitude taken from a file: half of what int64 holds, so that differences of two never overflow.
inline constexpr std::int64_t kMostTicks = std::int64_t{1} << 62;

/// Fill tick and signal; set the timer to 1e9 Hz where the file has seconds. `has_timer`: recording.toml names one.
void read_edges_csv(const std::string& path, bool has_timer, Recording& recording);
void read_edges_npy(const std::string& crank_path, const std::string& cam_path, bool has_timer, Recording& recording);

/// The channel rows of a file on the clock of `timer`.
/// What looks wrong without being an error goes to `notes`.
[[nodiscard]] std::vector<ChannelRow> read_channels(const std::string& path, const Config& config,
                                                    std::vector<std::string>& notes);

/// Appends whole nanoseconds as seconds with nine places.
void append_seconds(std::string& text, std::int64_t nanoseconds);

/// Column of a channel in channels.csv.
[[nodiscard]] std::string channel_name(Channel channel);

/// First tick of a clock of `hz` that is not before `time_ns`.
[[nodiscard]] std::int64_t ceil_tick(std::int64_t time_ns, double hz) noexcept;

/// The latest whole nanosecond that still reads back as `tick` on a clock of `hz`.
[[nodiscard]] std::int64_t time_of_tick(std::int64_t tick, double hz) noexcept;

/// How far the clock went from one raw tick to the next, modulo 2^bits; bits 8 to 62.
[[nodiscard]] constexpr std::int64_t counter_step(std::int64_t before, std::int64_t now, int bits) noexcept {
    return (now - before) & ((std::int64_t{1} << bits) - 1);
}

/// Whether a step can only mean that time ran backwards: for a counter of 32 bits or more, a step over half its range; for
/// ticks that never wrap, a negative step. Narrower counters wrap too often to tell.
[[nodiscard]] constexpr bool runs_backwards(std::int64_t before, std::int64_t now, int bits) noexcept {
    if (bits == 0) return now < before;
    return bits >= 32 && counter_step(before, now, bits) > (std::int64_t{1} << (bits - 1));
}

}  // namespace kurbel::read
