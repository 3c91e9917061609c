#include "bins.hpp"

#include <array>
#include <cmath>

#include "kurbel/stage/decoder.hpp"

namespace kurbel_detection {

Bins bins_of(const Recording& recording) {
    Bins result;
    result.grid = kurbel::make_cycle_grid(recording.config.engine, recording.config.crank_wheel);
    kurbel::Decoder decoder;
    decoder.configure(recording.config);
    kurbel::Segmenter<double> segmenter;
    segmenter.configure(recording.config, result.grid);
    std::array<kurbel::Tooth, kurbel::kMaxTeethPerPush> teeth{};
    const auto take = [&](int count) {
        for (int i = 0; i < count; ++i)
            segmenter.push(teeth[static_cast<std::size_t>(i)],
                           [&](const kurbel::Bin<double>& bin) { result.bins.push_back(bin); });
    };
    for (std::size_t i = 0; i < recording.tick.size(); ++i)
        take(decoder.push(recording.tick[i], static_cast<kurbel::Signal>(recording.signal[i]), teeth.data()));
    take(decoder.finish(teeth.data()));

    std::size_t at = 0;
    for (const kurbel::read::TruthRow& row : recording.truth) {
        const double tick = row.time_s * recording.config.timer.hz;
        const auto distance = [&](std::size_t b) {
            return std::abs(static_cast<double>(result.bins[b].begin_tick) - tick);
        };
        while (at + 1 < result.bins.size() && distance(at + 1) <= distance(at)) ++at;
        const bool near = at < result.bins.size() && distance(at) <= 0.6 * result.bins[at].ticks;
        result.first_of.push_back(near ? static_cast<std::ptrdiff_t>(at) : -1);
    }
    return result;
}

}  // namespace kurbel_detection
