#include "firings.hpp"

#include <cmath>
#include <stdexcept>
#include <string>

#include "kurbel/detector.hpp"
#include "kurbel/read/analysis.hpp"
#include "kurbel/study/score.hpp"
#include "scores.hpp"

namespace kurbel_detection {

namespace {

struct Timed {
    kurbel::Event event{};
    double out_s = 0.0;  ///< of the edge that it came out with
};

/// Edge by edge, as a live system does, so that the delay is the true one.
template <class Detector>
std::vector<Timed> stream(const Recording& recording, const kurbel::Settings& settings, kurbel::SyncState& sync) {
    kurbel::Config config = recording.config;
    config.settings = settings;
    auto made = Detector::create(config);
    if (!made.ok()) throw std::runtime_error(std::string(made.status.parameter) + " " + made.status.why);
    Detector& detector = made.value;
    const kurbel::read::EdgeView view = kurbel::read::view_of(recording);
    kurbel::read::Feed feed(view);
    std::vector<Timed> events;
    double now_s = 0.0;
    const auto take = [&] {
        Timed timed;
        while (detector.next_event(timed.event)) {
            timed.out_s = now_s;
            events.push_back(timed);
        }
    };
    std::int64_t clock = 0;
    while (!feed.done()) {
        const std::size_t edge = feed.edges_taken();
        if (const kurbel::Status status = feed.run(detector, 1); !status)
            throw std::runtime_error(std::string(status.parameter) + " " + status.why);
        const std::int64_t raw = view.tick[edge];
        clock = edge > 0 && view.timer_bits > 0
                    ? kurbel::read::unwrap_tick(clock, view.tick[edge - 1], raw, view.timer_bits)
                    : raw;
        now_s = static_cast<double>(clock) / config.timer.hz;
        take();
    }
    while (!detector.finish()) take();
    take();
    sync = detector.sync();
    return events;
}

Truth kind_of(const kurbel::read::TruthRow& row) {
    const kurbel::ScoreOptions bounds;
    if (row.fuel_cut) return Truth::no_fuel;
    if (row.severity >= bounds.misfire_severity) return Truth::misfire;
    return row.severity <= bounds.healthy_severity ? Truth::healthy : Truth::partial;
}

/// Median work of the healthy firings next to firing `at`, on the side that `step` (-1, 1) points to; NaN where there are none.
double work_beside(const std::vector<Firing>& firings, std::size_t at, std::ptrdiff_t step) {
    constexpr std::size_t kBeside = 4;
    std::vector<double> work;
    for (std::ptrdiff_t i = static_cast<std::ptrdiff_t>(at) + step;
         i >= 0 && i < std::ssize(firings) && work.size() < kBeside; i += step) {
        const Firing& firing = firings[static_cast<std::size_t>(i)];
        if (firing.kind == Truth::healthy) work.push_back(firing.truth.work_j);
    }
    return median(work);
}

bool is_weak(const std::vector<Firing>& firings, std::size_t at) {
    // A side that holds none is left out; where neither does, the answer is no.
    const double usual_j = std::fmin(work_beside(firings, at, -1), work_beside(firings, at, 1));
    return usual_j > 0.0 && firings[at].truth.work_j < 0.5 * usual_j;
}

}  // namespace

void set_weak_apart(std::vector<Firing>& firings) {
    std::vector<std::size_t> weak;
    for (std::size_t i = 0; i < firings.size(); ++i)
        if (firings[i].kind == Truth::healthy && is_weak(firings, i)) weak.push_back(i);
    for (const std::size_t i : weak) firings[i].kind = Truth::weak;
}

Judged judge(const Scenario& scenario, const Recording& recording, const kurbel::Settings& settings,
             bool single_precision) {
    Judged judged;
    const std::vector<Timed> timed = single_precision ? stream<kurbel::DetectorF>(recording, settings, judged.sync)
                                                      : stream<kurbel::Detector>(recording, settings, judged.sync);
    std::vector<kurbel::Event> events;
    events.reserve(timed.size());
    for (const Timed& t : timed) events.push_back(t.event);
    const std::vector<std::ptrdiff_t> event_of = kurbel::match_events(events, recording.truth);
    std::vector<bool> used(events.size(), false);
    const double cycle_turns = scenario.engine.strokes == 2 ? 1.0 : 2.0;
    for (std::size_t i = 0; i < recording.truth.size(); ++i) {
        Firing firing;
        firing.truth = recording.truth[i];
        firing.kind = kind_of(firing.truth);
        firing.on_rough_road = scenario.road.kind != kurbel::simulate::RoadKind::smooth &&
                               firing.truth.time_s >= scenario.road.from_s && firing.truth.time_s <= scenario.road.to_s;
        if (event_of[i] >= 0) {
            const auto e = static_cast<std::size_t>(event_of[i]);
            used[e] = true;
            firing.has_event = true;
            firing.event = events[e];
            firing.delay_firings = (timed[e].out_s - firing.event.time_s) * firing.event.speed_rpm / 60.0 /
                                   cycle_turns * scenario.engine.cylinders;
        }
        judged.firings.push_back(firing);
    }
    set_weak_apart(judged.firings);
    for (std::size_t e = 0; e < events.size(); ++e) {
        if (used[e]) continue;
        ++judged.surplus;
        if (events[e].verdict == kurbel::Verdict::misfire) ++judged.surplus_called;
    }
    return judged;
}

std::vector<kurbel::Event> classic_events(const Recording& recording) {
    kurbel::Settings settings;
    settings.method = kurbel::Method::segment_roughness;
    kurbel::SyncState sync;
    std::vector<kurbel::Event> events;
    for (const Timed& timed : stream<kurbel::Detector>(recording, settings, sync)) events.push_back(timed.event);
    const std::vector<std::ptrdiff_t> event_of = kurbel::match_events(events, recording.truth);
    std::vector<kurbel::Event> by_firing(recording.truth.size());
    for (std::size_t i = 0; i < by_firing.size(); ++i)
        if (event_of[i] >= 0) by_firing[i] = events[static_cast<std::size_t>(event_of[i])];
    return by_firing;
}

}  // namespace kurbel_detection
