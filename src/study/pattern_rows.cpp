#include "study/pattern_rows.hpp"

#include <algorithm>
#include <map>
#include <tuple>

#include "kurbel/read/input_error.hpp"
#include "study/why_unjudged.hpp"

namespace kurbel::study {

namespace {

/// Seconds since the engine began to run, event by event; NaN where its start was not seen.
std::vector<double> since_start(const std::vector<Event>& events) {
    std::vector<double> seconds;
    seconds.reserve(events.size());
    bool cranked = false;
    double start_s = kUnknown;
    for (const Event& event : events) {
        if (event.reason == Reason::cranking) {
            cranked = true;
            start_s = kUnknown;
        } else if (cranked && start_s != start_s && event.reason != Reason::no_sync) {
            start_s = event.time_s;
        }
        seconds.push_back(event.time_s - start_s);
    }
    return seconds;
}

bool same_engine(const EngineConfig& a, const EngineConfig& b) {
    return a.strokes == b.strokes && a.cylinders == b.cylinders && a.firing_order == b.firing_order;
}

/// A row while it grows.
struct Growing {
    Outcomes outcomes;
    std::int64_t last_cycle = 0;
    bool connected = false;  // the last firing was judged, and of this recording
    std::int32_t stretch = -1;

    void add(const Event& event, const std::array<double, kConditions>& condition, bool company, bool next_cycle) {
        const bool judged = event.verdict != Verdict::unjudged;
        if (judged) {
            if (!connected || !next_cycle) ++stretch;
            outcomes.misfire.push_back(event.verdict == Verdict::misfire);
            outcomes.stretch.push_back(stretch);
            outcomes.condition.push_back(condition);
            outcomes.company.push_back(company);
        }
        connected = judged;
        last_cycle = event.cycle;
    }
};

/// Puts events into rows, recording by recording.
class Sorter {
  public:
    /// `alone`: the only recording, so that its own time means something.
    void add(const JudgedRecording& recording, bool from_start, bool alone) {
        const std::vector<double> start = since_start(recording.events);
        std::map<std::int64_t, int> misfires;  // of all cylinders, by cycle
        for (const Event& event : recording.events)
            if (event.verdict == Verdict::misfire) ++misfires[event.cycle];
        for (auto& [key, row] : rows_) row.connected = false;
        all_.connected = false;
        seen_in_cycle_.clear();
        for (std::size_t i = 0; i < recording.events.size(); ++i) {
            const Event& event = recording.events[i];
            const double along = alone ? event.time_s - recording.events.front().time_s : kUnknown;
            const double time = from_start ? start[i] : along;
            const std::array<double, kConditions> condition{event.speed_rpm, event.load, recording.coolant(i), time};
            const auto found = misfires.find(event.cycle);
            const int others = (found == misfires.end() ? 0 : found->second) - (event.verdict == Verdict::misfire);
            all_.add(event, condition, others > 0, true);
            if (event.cylinder == 0 && event.candidates[0] == 0) continue;  // of the time before cylinders were known
            const Key key = key_of(event);
            Growing& row = rows_[key];
            row.outcomes.cylinder = event.cylinder;
            if (event.cylinder == 0) row.outcomes.candidates = event.candidates;
            row.outcomes.half = std::get<2>(key);
            row.add(event, condition, others > 0, event.cycle <= row.last_cycle + 1);
        }
    }

    [[nodiscard]] Sorted done() {
        Sorted sorted;
        sorted.all = std::move(all_.outcomes);
        for (auto& [key, row] : rows_)
            if (row.outcomes.size() > 0) sorted.rows.push_back(std::move(row.outcomes));
        return sorted;
    }

  private:
    // Pairs after cylinders, by number and half of the cycle.
    using Key = std::tuple<bool, std::int32_t, std::int32_t>;

    /// Of two cylinders that cannot be told apart, the firings of one are every second one: told by their place in the cycle.
    [[nodiscard]] Key key_of(const Event& event) {
        if (event.cylinder > 0) return {false, event.cylinder, 0};
        const std::int32_t first = std::min(event.candidates[0], event.candidates[1]);
        auto& [cycle, seen] = seen_in_cycle_.try_emplace(first, event.cycle, 0).first->second;
        if (cycle != event.cycle) seen = 0;
        cycle = event.cycle;
        return {true, first, ++seen};
    }

    std::map<Key, Growing> rows_;
    std::map<std::int32_t, std::pair<std::int64_t, int>> seen_in_cycle_;
    Growing all_;
};

/// Whether the start of running was seen for nearly all judged firings.
bool start_known(const std::vector<JudgedRecording>& recordings) {
    std::int64_t judged = 0;
    std::int64_t known = 0;
    for (const JudgedRecording& recording : recordings) {
        const std::vector<double> start = since_start(recording.events);
        for (std::size_t i = 0; i < recording.events.size(); ++i) {
            if (recording.events[i].verdict == Verdict::unjudged) continue;
            ++judged;
            known += start[i] == start[i] ? 1 : 0;
        }
    }
    return known * 10 >= judged * 9;
}

}  // namespace

Sorted sort_outcomes(const std::vector<JudgedRecording>& recordings) {
    for (const JudgedRecording& recording : recordings) {
        if (!same_engine(recording.config.engine, recordings.front().config.engine))
            throw read::InputError(
                recording.name, 0,
                "is of another engine than " + recordings.front().name +
                    ": give recordings of one engine, each with the same [engine] in recording.toml");
        if (recording.judged() == 0)
            throw read::InputError(
                recording.name, 0,
                "holds no judged firing, so there is no pattern to find: " + why_unjudged(recording));
    }
    const bool from_start = start_known(recordings);
    Sorter sorter;
    for (const JudgedRecording& recording : recordings) sorter.add(recording, from_start, recordings.size() == 1);
    Sorted sorted = sorter.done();
    sorted.since_start = from_start;
    return sorted;
}

}  // namespace kurbel::study
