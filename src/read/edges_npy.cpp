// crank.npy and cam.npy: two arrays of times, merged into one stream of edges.
#include <cmath>
#include <filesystem>

#include "kurbel/read/input_error.hpp"
#include "read/npy.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

[[noreturn]] void fail_value(const std::string& path, std::size_t index, const std::string& cause) {
    throw InputError(path, 0, "value " + std::to_string(index) + " (counted from 0): " + cause);
}

std::vector<std::int64_t> ticks_of_seconds(const std::string& path, const std::vector<double>& seconds) {
    std::vector<std::int64_t> ticks(seconds.size());
    for (std::size_t i = 0; i < seconds.size(); ++i) {
        if (!std::isfinite(seconds[i])) fail_value(path, i, "is not a finite number of seconds");
        const double tick = std::round(seconds[i] * 1e9);
        if (std::abs(tick) > static_cast<double>(kMostTicks)) fail_value(path, i, "is not within 146 years of zero");
        ticks[i] = static_cast<std::int64_t>(tick);
    }
    return ticks;
}

void check_ticks(const std::string& path, const std::vector<std::int64_t>& ticks, int bits) {
    const std::int64_t low = bits > 0 ? 0 : -kMostTicks;
    const std::int64_t high = bits > 0 ? (std::int64_t{1} << bits) - 1 : kMostTicks;
    for (std::size_t i = 0; i < ticks.size(); ++i) {
        if (ticks[i] < low || ticks[i] > high)
            fail_value(path, i,
                       bits > 0 ? "does not fit a counter of " + std::to_string(bits) + " bits (timer.bits)"
                                : std::string("does not lie within 2^62"));
        if (i > 0 && runs_backwards(ticks[i - 1], ticks[i], bits)) fail_value(path, i, "time runs backwards");
    }
}

std::vector<std::int64_t> read_ticks(const std::string& path, bool has_timer, bool& in_ticks) {
    NpyArray array = read_npy(path);
    in_ticks = array.is_integer;
    if (in_ticks && !has_timer)
        throw InputError(path, 0, "holds ticks, but recording.toml has no [timer] that says how many a second");
    return in_ticks ? std::move(array.integers) : ticks_of_seconds(path, array.numbers);
}

/// The unwrapped clock of one array. The first value is put within half a counter range of `first`.
std::vector<std::int64_t> unwrapped(const std::vector<std::int64_t>& ticks, std::int64_t first, int bits) {
    std::vector<std::int64_t> clock(ticks.size());
    for (std::size_t i = 0; i < ticks.size(); ++i) {
        if (i > 0) {
            clock[i] = unwrap_tick(clock[i - 1], ticks[i - 1], ticks[i], bits);
            continue;
        }
        clock[i] = ticks[i];
        if (bits == 0) continue;
        const std::int64_t step = counter_step(first, ticks[i], bits);
        clock[i] = first + step - (step > (std::int64_t{1} << (bits - 1)) ? std::int64_t{1} << bits : 0);
    }
    return clock;
}

struct Edges {
    const std::vector<std::int64_t>& tick;
    const std::vector<std::int64_t>& clock;
};

/// Crank before cam at equal times: the tooth opens the place in which the cam edge then lies.
void merge(const Edges& crank, const Edges& cam, Recording& recording) {
    const std::size_t count = crank.tick.size() + cam.tick.size();
    recording.tick.resize(count);
    recording.signal.resize(count);
    std::size_t a = 0;
    std::size_t b = 0;
    for (std::size_t i = 0; i < count; ++i) {
        const bool take_crank = b == cam.tick.size() || (a < crank.tick.size() && crank.clock[a] <= cam.clock[b]);
        recording.tick[i] = take_crank ? crank.tick[a++] : cam.tick[b++];
        recording.signal[i] = static_cast<std::uint8_t>(take_crank ? Signal::crank : Signal::cam);
    }
}

}  // namespace

void read_edges_npy(const std::string& crank_path, const std::string& cam_path, bool has_timer, Recording& recording) {
    bool in_ticks = false;
    const std::vector<std::int64_t> crank = read_ticks(crank_path, has_timer, in_ticks);
    if (!in_ticks) recording.config.timer = TimerConfig{};
    const int bits = recording.config.timer.bits;
    check_ticks(crank_path, crank, bits);
    if (crank.empty()) throw InputError(crank_path, 0, "holds no edges: the recording is empty");
    std::vector<std::int64_t> cam;
    if (std::filesystem::exists(cam_path)) {
        bool cam_in_ticks = false;
        cam = read_ticks(cam_path, has_timer, cam_in_ticks);
        if (cam_in_ticks != in_ticks)
            throw InputError(cam_path, 0, "must hold the same kind of values as crank.npy: ticks or seconds");
        check_ticks(cam_path, cam, bits);
        if (bits > 0 && bits < 32 && !cam.empty())
            throw InputError(
                cam_path, 0,
                "a counter of " + std::to_string(bits) +
                    " bits wraps more often than cam edges come, so that they cannot be put between those of "
                    "the crank; write unwrapped ticks (without timer.bits) or edges.csv");
    }
    merge({crank, unwrapped(crank, crank.front(), bits)}, {cam, unwrapped(cam, crank.front(), bits)}, recording);
}

}  // namespace kurbel::read
