#include "discover/lines.hpp"

#include "kurbel/read/recording.hpp"

namespace kurbel::discover {

Lines unwrapped(const EdgeLines& lines) {
    Lines result;
    if (lines.edges == 0) return result;
    result.tick_s = 1.0 / lines.timer.hz;
    std::int64_t clock = lines.tick[0];
    const std::int64_t first = clock;
    for (std::size_t i = 0; i < lines.edges; ++i) {
        if (i > 0) clock = read::unwrap_tick(clock, lines.tick[i - 1], lines.tick[i], lines.timer.bits);
        const double time_s = static_cast<double>(clock - first) / lines.timer.hz;
        const bool cam = lines.signal != nullptr && lines.signal[i] == static_cast<std::uint8_t>(Signal::cam);
        std::vector<double>& line = cam ? result.cam_s : result.crank_s;
        if (line.empty() || time_s > line.back()) line.push_back(time_s);
        result.duration_s = time_s;
    }
    const double start_s = static_cast<double>(first) / lines.timer.hz;
    for (const auto& [from_s, to_s] : lines.fuel_cut_s)
        result.fuel_cut_s.emplace_back(from_s - start_s, to_s - start_s);
    return result;
}

}  // namespace kurbel::discover
