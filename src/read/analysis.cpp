#include "kurbel/read/analysis.hpp"

#include <memory>

#include "kurbel/detector.hpp"

namespace kurbel::read {

namespace {

/// A detector whose teeth are also averaged for the studies.
class Listener {
  public:
    Listener(Detector& detector, FiringOrders& orders) noexcept : detector_(detector), orders_(orders) {}

    Status push_edge(std::int64_t raw_tick, Signal signal) noexcept {
        const Status status = detector_.push_edge(raw_tick, signal);
        if (status.ok())
            for (const Tooth& tooth : detector_.last_teeth()) listen(tooth);
        return status;
    }

    Status push_channel(std::int64_t tick, Channel channel, double value) noexcept {
        orders_.push_channel(channel, value);
        return detector_.push_channel(tick, channel, value);
    }

  private:
    Detector& detector_;
    /// A phase that the crank tells rests on the declared TDC, which is in question here. Only a cam's is taken; else the halves
    /// alternate from where they began.
    void listen(Tooth tooth) noexcept {
        if (detector_.sync().phase != Phase::cam) {
            tooth.phase_known = false;
            if (any_ && !tooth.restart) tooth.half = tooth.index > last_.index ? last_.half : 1 - last_.half;
        }
        any_ = true;
        last_ = tooth;
        orders_.push(tooth);
    }

    bool any_ = false;
    Tooth last_{};
    FiringOrders& orders_;
};

void take_events(Detector& detector, std::vector<Event>& events) {
    Event event;
    while (detector.next_event(event)) events.push_back(event);
}

/// Pushes all edges, a slice at a time so that progress can be told.
Status feed_all(Detector& detector, FiringOrders& orders, const EdgeView& view, const Progress& progress,
                std::vector<Event>& events) {
    constexpr std::size_t kSlice = 65536;
    Listener listener(detector, orders);
    Feed feed(view);
    while (!feed.done()) {
        const std::size_t before = feed.edges_taken();
        const Status status = feed.run(listener, kSlice);
        if (!status && status.code != StatusCode::queue_full) return status;
        const std::size_t waiting = events.size();
        take_events(detector, events);
        if (!status && events.size() == waiting && feed.edges_taken() == before)
            return {StatusCode::internal, "queue", "is full although no event waits"};
        if (progress) progress(static_cast<double>(feed.edges_taken()) / static_cast<double>(view.edges));
    }
    return {};
}

Status finish_all(Detector& detector, std::vector<Event>& events) {
    for (;;) {
        const Status status = detector.finish();
        const std::size_t before = events.size();
        take_events(detector, events);
        if (status.code != StatusCode::queue_full) return status;
        if (events.size() == before) return {StatusCode::internal, "queue", "is full although no event waits"};
    }
}

}  // namespace

EdgeView view_of(const Recording& recording) noexcept {
    return {recording.tick.data(),     recording.signal.data(),   recording.tick.size(),
            recording.channels.data(), recording.channels.size(), recording.config.timer.bits};
}

Result<Analysis> analyze(const Config& config, const EdgeView& view, const Progress& progress) {
    // On the heap: a detector is too large for some threads' stacks.
    const auto made = std::make_unique<Result<Detector>>(Detector::create(config));
    Result<Analysis> result;
    result.status = made->status;
    if (!result.ok()) return result;
    FiringOrders orders(config);
    result.status = feed_all(made->value, orders, view, progress, result.value.events);
    if (result.ok()) result.status = finish_all(made->value, result.value.events);
    result.value.sync = made->value.sync();
    if (result.ok()) result.value.tdc_offset = estimate_tdc_offset(config, orders);
    return result;
}

Result<Analysis> analyze(const Recording& recording, const Settings& settings, const Progress& progress) {
    Config config = recording.config;
    config.settings = settings;
    return analyze(config, view_of(recording), progress);
}

}  // namespace kurbel::read
