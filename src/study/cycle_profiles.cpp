#include "study/cycle_profiles.hpp"

#include <algorithm>
#include <cmath>
#include <memory>

#include "kurbel/core/slider_crank.hpp"
#include "kurbel/detector.hpp"
#include "kurbel/read/analysis.hpp"
#include "kurbel/read/input_error.hpp"

namespace kurbel {

namespace {

/// Feeds a detector and keeps its teeth.
class Listener {
  public:
    explicit Listener(Detector& detector) : detector_(detector) {}
    Status push_edge(std::int64_t raw_tick, Signal signal) {
        const Status status = detector_.push_edge(raw_tick, signal);
        if (status.ok()) keep();
        return status;
    }
    Status push_channel(std::int64_t tick, Channel channel, double value) {
        return detector_.push_channel(tick, channel, value);
    }
    void keep() {
        for (const Tooth& tooth : detector_.last_teeth()) teeth.push_back(tooth);
    }

    std::vector<Tooth> teeth;

  private:
    Detector& detector_;
};

struct Heard {
    std::vector<Tooth> teeth;
    std::vector<Event> events;
    Phase phase = Phase::unknown;
};

Heard listen(const read::Recording& recording, const std::string& name) {
    const auto made = std::make_unique<Result<Detector>>(Detector::create(recording.config));
    if (!made->ok()) throw read::InputError(name, 0, std::string(made->status.parameter) + " " + made->status.why);
    Heard heard;
    Detector& detector = made->value;
    Listener listener(detector);
    read::Feed feed(read::view_of(recording));
    Event event;
    const auto take = [&] {
        while (detector.next_event(event)) heard.events.push_back(event);
    };
    while (!feed.done()) {
        const std::size_t before = feed.edges_taken();
        const Status status = feed.run(listener, 65536);
        take();
        const bool stuck = status.code == StatusCode::queue_full && feed.edges_taken() == before;
        if ((!status.ok() && status.code != StatusCode::queue_full) || stuck)
            throw read::InputError(name, 0, std::string(status.parameter) + " " + status.why);
    }
    for (Status status = detector.finish();; status = detector.finish()) {
        take();
        if (status.code != StatusCode::queue_full) break;
    }
    listener.keep();
    heard.teeth = std::move(listener.teeth);
    heard.phase = detector.sync().phase;
    return heard;
}

/// Energy of the moving pistons: J(theta) over the rotating inertia at the middle of each interval; 1 where masses are not told.
std::vector<double> piston_factors(const EngineConfig& engine, const CycleProfiles& profiles) {
    std::vector<double> factor(profiles.begin_deg.size(), 1.0);
    const double one = 0.25e-6 * engine.reciprocating_kg * engine.stroke_mm * engine.stroke_mm / engine.inertia_kg_m2;
    if (!(one > 0.0)) return factor;
    const SliderCrank crank = SliderCrank::of(engine);
    for (std::size_t i = 0; i < factor.size(); ++i)
        for (int k = 0; k < engine.cylinders; ++k) {
            const double arm = crank.lever(to_rad(profiles.begin_deg[i] + 0.5 * profiles.width_deg[i] -
                                                  engine.firing_tdc_deg[static_cast<std::size_t>(k)]));
            factor[i] += one * arm * arm;
        }
    return factor;
}

class Collector {
  public:
    Collector(const Config& config, CycleProfiles& profiles) : config_(config), profiles_(profiles) {
        halves_ = config.engine.strokes == 2 ? 1 : 2;
        const WheelConfig& wheel = config.crank_wheel;
        for (int half = 0; half < halves_; ++half)
            for (int i = 0; i < wheel.teeth; ++i) {
                const double from = static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(i)]);
                const double to = i + 1 < wheel.teeth
                                      ? static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(i + 1)])
                                      : 360.0 + static_cast<double>(wheel.angle_deg[0]);
                profiles_.begin_deg.push_back(360.0 * half + from - wheel.tdc1_deg);
                profiles_.width_deg.push_back(to - from);
            }
        factor_ = piston_factors(config.engine, profiles_);
    }

    void push(const Tooth& tooth) {
        const auto teeth = static_cast<std::size_t>(config_.crank_wheel.teeth);
        const std::size_t place = (halves_ == 2 ? tooth.half * teeth : 0U) + static_cast<std::size_t>(tooth.index);
        const std::size_t all = profiles_.begin_deg.size();
        const bool follows = any_ && !tooth.restart && place == (last_place_ + 1) % all;
        if (!follows) filled_ = false;
        if (follows && (filled_ || last_place_ == 0)) {
            if (last_place_ == 0) begin();
            const double period_s = static_cast<double>(tooth.tick - last_tick_) / config_.timer.hz;
            const double speed = to_rad(profiles_.width_deg[last_place_]) / period_s;
            now_.interval[last_place_] = 0.5 * speed * speed * factor_[last_place_];
            now_.seconds += period_s;
            if (place == 0) end();
        }
        // After a loss nothing tells how many cycles passed.
        if (tooth.restart) number_ += 2;
        any_ = true;
        last_place_ = place;
        last_tick_ = tooth.tick;
    }

  private:
    void begin() {
        now_ = CycleProfile{};
        now_.interval.assign(profiles_.begin_deg.size(), 0.0);
        now_.time_s = static_cast<double>(last_tick_) / config_.timer.hz;
        filled_ = true;
        if (!was_whole_) number_ += 2;
        was_whole_ = false;
    }
    void end() {
        now_.number = ++number_;
        double angle = 0.0;
        for (std::size_t i = 0; i < now_.interval.size(); ++i) {
            now_.energy += now_.interval[i] * profiles_.width_deg[i];
            angle += profiles_.width_deg[i];
        }
        now_.energy /= angle;
        profiles_.cycles.push_back(std::move(now_));
        filled_ = false;
        was_whole_ = true;
    }

    const Config& config_;
    CycleProfiles& profiles_;
    int halves_ = 2;
    std::vector<double> factor_;
    bool any_ = false;
    bool filled_ = false;  // the cycle under way has all intervals so far
    bool was_whole_ = false;
    std::size_t last_place_ = 0;
    std::int64_t last_tick_ = 0;
    std::int64_t number_ = 0;
    CycleProfile now_{};
};

/// Where the phase is never known, halves may change places at each loss: only the longest part between two is of one piece.
void keep_one_piece(std::vector<Tooth>& teeth) {
    std::size_t begin = 0;
    std::size_t best_begin = 0;
    std::size_t best_size = 0;
    for (std::size_t i = 1; i <= teeth.size(); ++i) {
        if (i < teeth.size() && !teeth[i].restart) continue;
        if (i - begin > best_size) {
            best_begin = begin;
            best_size = i - begin;
        }
        begin = i;
    }
    teeth = std::vector<Tooth>(teeth.begin() + static_cast<std::ptrdiff_t>(best_begin),
                               teeth.begin() + static_cast<std::ptrdiff_t>(best_begin + best_size));
}

void note_firings(const EngineConfig& engine, const std::vector<Event>& events, CycleProfiles& profiles) {
    std::size_t first = 0;
    for (CycleProfile& cycle : profiles.cycles) {
        while (first < events.size() && events[first].time_s < cycle.time_s) ++first;
        double load = 0.0;
        int loads = 0;
        int cut = 0;
        int seen = 0;
        for (std::size_t i = first; i < events.size() && events[i].time_s < cycle.time_s + cycle.seconds; ++i) {
            const Event& event = events[i];
            ++seen;
            if (std::isfinite(event.load)) {
                load += event.load;
                ++loads;
            }
            cut += event.reason == Reason::fuel_cut ? 1 : 0;
            profiles.judged += event.verdict == Verdict::unjudged ? 0 : 1;
            if (event.verdict != Verdict::misfire) continue;
            for (int k = 0; k < engine.cylinders; ++k) {
                const int cylinder = engine.firing_order[static_cast<std::size_t>(k)];
                const double tdc_deg = engine.firing_tdc_deg[static_cast<std::size_t>(k)];
                const double at_deg =
                    (event.time_s - cycle.time_s) / cycle.seconds * engine.cycle_deg() + profiles.begin_deg.front();
                const bool here = event.cylinder > 0
                                      ? event.cylinder == cylinder
                                      : std::fabs(std::remainder(at_deg - tdc_deg, engine.cycle_deg())) < 45.0;
                if (here) cycle.misfires |= 1U << k;
            }
        }
        cycle.load = loads > 0 ? load / loads : kUnknown;
        cycle.cut = seen > 0 && cut == seen;
        cycle.mixed = cut > 0 && cut < seen;
        profiles.load_known = profiles.load_known || loads > 0;
    }
}

}  // namespace

CycleProfiles collect_cycles(const read::Recording& recording, const std::string& name) {
    Heard heard = listen(recording, name);
    CycleProfiles profiles;
    profiles.phase_known = heard.phase != Phase::unknown;
    if (profiles.phase_known)
        std::erase_if(heard.teeth, [](const Tooth& tooth) { return !tooth.phase_known; });
    else
        keep_one_piece(heard.teeth);
    Collector collector(recording.config, profiles);
    for (const Tooth& tooth : heard.teeth) collector.push(tooth);
    note_firings(recording.config.engine, heard.events, profiles);
    return profiles;
}

}  // namespace kurbel
