#include "kurbel/read/analysis.hpp"

#include <array>
#include <memory>

#include "kurbel/detector.hpp"

namespace kurbel::read {

namespace {

/// A detector whose teeth are also averaged for the studies.
class Listener {
  public:
    Listener(Detector& detector, FiringOrders& orders, std::vector<double>& found_again_s) noexcept
        : detector_(detector), orders_(orders), found_again_s_(found_again_s) {}

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

    /// Teeth that were missed in nearly every revolution: the wheel has a gap there.
    [[nodiscard]] std::vector<int> never_seen() const {
        constexpr std::int64_t kFewest = 20;  // revolutions: a dropout may repeat for a few
        std::vector<int> teeth;
        const std::int64_t revolutions = detector_.sync().revolutions;
        for (int i = 0; revolutions >= kFewest && i < detector_.config().crank_wheel.teeth; ++i)
            if (10 * missed_[static_cast<std::size_t>(i)] > 9 * revolutions) teeth.push_back(i);
        return teeth;
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
        if (any_ && tooth.restart && found_again_s_.size() < found_again_s_.capacity())
            found_again_s_.push_back(static_cast<double>(tooth.tick) / detector_.config().timer.hz);
        if (any_ && !tooth.restart) count_missed(tooth);
        any_ = true;
        last_ = tooth;
        orders_.push(tooth);
    }

    /// Teeth between this one and the last, each of which should have passed.
    void count_missed(const Tooth& tooth) noexcept {
        const int teeth = detector_.config().crank_wheel.teeth;
        for (int i = (last_.index + 1) % teeth; i != tooth.index; i = (i + 1) % teeth)
            ++missed_[static_cast<std::size_t>(i)];
    }

    bool any_ = false;
    Tooth last_{};
    std::array<std::int64_t, kMaxTeeth> missed_{};
    FiringOrders& orders_;
    std::vector<double>& found_again_s_;
};

void take_events(Detector& detector, std::vector<Event>& events) {
    Event event;
    while (detector.next_event(event)) events.push_back(event);
}

/// Pushes all edges, a slice at a time so that progress can be told.
Status feed_all(Detector& detector, FiringOrders& orders, const EdgeView& view, const Progress& progress,
                Analysis& result) {
    constexpr std::size_t kSlice = 65536;
    std::vector<Event>& events = result.events;
    constexpr std::size_t kMostLosses = 1000;  // whose times are kept; nothing is allocated while edges are pushed
    result.found_again_s.reserve(kMostLosses);
    Listener listener(detector, orders, result.found_again_s);
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
    result.never_seen = listener.never_seen();
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

/// Mean over time of the speeds that the firings were seen at: each stands for a time that goes with 1 / speed.
double mean_speed_rpm(const std::vector<Event>& events) noexcept {
    double count = 0.0;
    double sum_of_inverse = 0.0;
    for (const Event& event : events) {
        if (!(event.speed_rpm > 0.0)) continue;
        count += 1.0;
        sum_of_inverse += 1.0 / event.speed_rpm;
    }
    return count > 0.0 ? count / sum_of_inverse : kUnknown;
}

/// A wheel fits edges in any unit of time, and so would verdicts.
Status check_unit(double mean_rpm) noexcept {
    constexpr double kSlowest_rpm = 20.0;     // an engine that is turned by hand
    constexpr double kFastest_rpm = 25000.0;  // the fastest engines of racing
    if (mean_rpm > kFastest_rpm)
        return {StatusCode::bad_timer, "timer",
                "the engine would turn at more than 25000 rpm on average: the times are in another unit than told, or "
                "timer.hz is too high (is time_s in seconds?)"};
    if (mean_rpm < kSlowest_rpm)
        return {StatusCode::bad_timer, "timer",
                "the engine would turn at less than 20 rpm on average: the times are in another unit than told "
                "(milliseconds?), or timer.hz is too low"};
    return {};
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
    result.status = feed_all(made->value, orders, view, progress, result.value);
    if (result.ok()) result.status = finish_all(made->value, result.value.events);
    result.value.sync = made->value.sync();
    if (!result.ok()) return result;
    result.value.mean_rpm = mean_speed_rpm(result.value.events);
    result.status = check_unit(result.value.mean_rpm);
    result.value.work_over_told = made->value.work_over_told();
    // What is not believed of the engine's size says nothing of its pistons' torque either.
    Config believed = config;
    if (result.value.work_over_told != 1.0) believed.engine.inertia_kg_m2 = kUnknown;
    if (result.ok()) result.value.tdc_offset = estimate_tdc_offset(believed, orders);
    return result;
}

Result<Analysis> analyze(const Recording& recording, const Settings& settings, const Progress& progress) {
    Config config = recording.config;
    config.settings = settings;
    return analyze(config, view_of(recording), progress);
}

}  // namespace kurbel::read
