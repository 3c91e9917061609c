// A whole waveform at once: its edges, with nothing lost at the beginning.
#pragma once

#include <algorithm>
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "kurbel/signal/waveform_edges.hpp"

namespace kurbel::read {

/// Edges of one channel and what was found of its sensor.
struct WaveformResult {
    std::vector<signal::WaveformEdge> edges;
    signal::WaveformReport report;
};

/// Seconds at the beginning of a recording that are looked at before the first edge is given out.
inline constexpr double kLookAheadSeconds = 4.0;

/// Edges of a waveform that comes in blocks: hand in the first kLookAheadSeconds (or all that there is) by `learn`, then every
/// block from the first sample on by `push`, then `finish`. Memory does not grow with the recording.
class WaveformReader {
  public:
    explicit WaveformReader(const signal::WaveformSettings& settings)
        : edges_(std::make_unique<Result<signal::WaveformEdges>>(signal::WaveformEdges::create(settings))) {}

    /// What is wrong with the settings; nothing else may be called unless this is ok.
    [[nodiscard]] const Status& status() const noexcept { return edges_->status; }

    template <class Sample>
    void learn(std::span<const Sample> samples) {
        run(samples, [](const signal::WaveformEdge&) {});
        edges_->value.finish();
        signal::WaveformEdge edge;
        while (edges_->value.next_edge(edge)) {
        }
        edges_->value.rewind();
    }

    /// `take` is called with each edge, in order of time.
    template <class Sample, class Take>
    void push(std::span<const Sample> samples, Take&& take) {
        run(samples, take);
    }

    template <class Take>
    void finish(Take&& take) {
        edges_->value.finish();
        drain(take);
    }

    [[nodiscard]] signal::WaveformReport report() const noexcept { return edges_->value.report(); }

  private:
    template <class Take>
    void drain(Take&& take) {
        signal::WaveformEdge edge;
        while (edges_->value.next_edge(edge)) take(edge);
    }
    template <class Sample, class Take>
    void run(std::span<const Sample> samples, Take&& take) {
        while (!samples.empty()) {
            samples = samples.subspan(edges_->value.push(samples.data(), samples.size()));
            drain(take);
        }
    }

    std::unique_ptr<Result<signal::WaveformEdges>> edges_;
};

/// Edges of a waveform in memory (float, double or integer samples); `settings.rate_hz` must be set, all else may be found out.
template <class Sample>
[[nodiscard]] Result<WaveformResult> edges_from_waveform(std::span<const Sample> samples,
                                                         const signal::WaveformSettings& settings) {
    Result<WaveformResult> result;
    WaveformReader reader(settings);
    result.status = reader.status();
    if (!result.ok()) return result;
    const auto take = [&](const signal::WaveformEdge& edge) { result.value.edges.push_back(edge); };
    const double look_ahead = kLookAheadSeconds * settings.rate_hz;
    reader.learn(samples.first(std::min(samples.size(), static_cast<std::size_t>(look_ahead))));
    reader.push(samples, take);
    reader.finish(take);
    result.value.report = reader.report();
    return result;
}

}  // namespace kurbel::read
