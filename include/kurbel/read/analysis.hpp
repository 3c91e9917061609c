// A recording through a Detector: the batch call, and the feeding loop beneath it.
#pragma once

#include <algorithm>
#include <cstdint>
#include <vector>

#include "kurbel/core/config.hpp"
#include "kurbel/core/status.hpp"
#include "kurbel/core/types.hpp"
#include "kurbel/read/recording.hpp"
#include "kurbel/stage/tick_unwrap.hpp"
#include "kurbel/study/tdc_offset.hpp"

namespace kurbel::read {

/// Edges and channel rows in the caller's memory, which must outlive the view.
struct EdgeView {
    const std::int64_t* tick = nullptr;    ///< raw timer ticks
    const std::uint8_t* signal = nullptr;  ///< Signal of each edge; null: all of the crank
    std::size_t edges = 0;
    const ChannelRow* channel = nullptr;  ///< in order of tick, on the unwrapped clock
    std::size_t channels = 0;
    int timer_bits = 0;
};

[[nodiscard]] EdgeView view_of(const Recording& recording) noexcept;

/// Pushes edges and channel rows in order of time into any detector; at equal times channel rows come first. Resumable: a
/// full queue stops it without losing anything.
class Feed {
  public:
    explicit Feed(const EdgeView& view) noexcept : view_(view) { clock_.configure({1.0, view.timer_bits}); }

    /// Pushes until all is pushed (ok), the queue is full (queue_full: take events, call again), or a push fails, or
    /// `most_edges` were taken.
    template <class Detector>
    Status run(Detector& detector, std::size_t most_edges = SIZE_MAX) noexcept {
        // What does not change meanwhile stands in variables of its own, for the detector is a stranger to the compiler.
        const EdgeView view = view_;
        const std::size_t end = edge_ + std::min(most_edges, view.edges - edge_);
        for (std::size_t edge = edge_; edge < end; edge_ = ++edge) {
            const std::int64_t raw = view.tick[edge];
            const auto signal = view.signal == nullptr ? Signal::crank : static_cast<Signal>(view.signal[edge]);
            if (channel_ < view.channels)
                if (Status status = push_channels(detector, edge, signal); !status) return status;
            if (Status status = detector.push_edge(raw, signal); !status) return status;
        }
        return {};
    }

    [[nodiscard]] bool done() const noexcept { return edge_ == view_.edges; }
    [[nodiscard]] std::size_t edges_taken() const noexcept { return edge_; }

  private:
    template <class Detector>
    Status push_channels(Detector& detector, std::size_t edge, Signal signal) noexcept {
        const std::int64_t raw = view_.tick[edge];
        // The clock of the detector itself, so that both drop the same edges.
        if (!clock_.push(raw, signal)) static_cast<void>(clock_.turn_back(raw, signal));
        const std::int64_t until = clock_.now();
        if (view_.channel[channel_].tick > until) return {};
        // One wrong tick far ahead must not bring all later values at once.
        if (edge + 1 < view_.edges && clock_.past(view_.tick[edge + 1])) return {};
        for (; channel_ < view_.channels && view_.channel[channel_].tick <= until; ++channel_) {
            const ChannelRow& row = view_.channel[channel_];
            if (Status status = detector.push_channel(row.tick, row.channel, row.value); !status) return status;
        }
        return {};
    }

    EdgeView view_;
    std::size_t edge_ = 0;
    std::size_t channel_ = 0;
    decoding::TickUnwrap clock_{};  ///< followed while channel rows are left
};

/// What a recording gave.
struct Analysis {
    std::vector<Event> events;  ///< in order of time
    SyncState sync{};           ///< at the end
    /// Where combustion seems to stand against the declared TDC; unknown where that does not show.
    TdcOffset tdc_offset{};
    double work_over_told = 1.0;  ///< see BasicDetector: not 1 where the sizes that were told are contradicted
    double mean_rpm = kUnknown;   ///< mean over time while firings were seen
    std::vector<int> never_seen;  ///< teeth of the described wheel that hardly ever passed, in order
    std::vector<double>
        found_again_s;  ///< when the wheel's position was known again, after each loss (of the first 1000)
};

/// Runs a default Detector over all edges of `view` and takes every event. Answers what BasicDetector::create or a push
/// answers; bad_timer where the engine would turn at a speed that no engine does (below 20 or above 25000 rpm on average), for then
/// the times are in another unit than told. Throws std::bad_alloc, and what `progress` throws.
[[nodiscard]] Result<Analysis> analyze(const Config& config, const EdgeView& view, const Progress& progress = {});

/// The same for a recording, with other settings than its own.
[[nodiscard]] Result<Analysis> analyze(const Recording& recording, const Settings& settings,
                                       const Progress& progress = {});

}  // namespace kurbel::read
