#include "kurbel/study/score.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace kurbel {

namespace {

using read::TruthRow;

constexpr std::ptrdiff_t kNone = -1;

/// How far from truth row `i` an event may lie and still belong to it.
double reach(const std::vector<TruthRow>& truth, std::size_t i) {
    double gap = std::numeric_limits<double>::infinity();
    if (i > 0) gap = truth[i].time_s - truth[i - 1].time_s;
    if (i + 1 < truth.size()) gap = std::min(gap, truth[i + 1].time_s - truth[i].time_s);
    return 0.25 * gap;
}

bool names_any(const Event& event) { return event.cylinder > 0 || event.candidates[0] > 0; }

bool names(const Event& event, std::int32_t cylinder) {
    if (event.cylinder > 0) return event.cylinder == cylinder;
    return event.candidates[0] == cylinder || event.candidates[1] == cylinder;
}

void count_misfire(const TruthRow& row, const Event* event, Score& score) {
    if (event != nullptr && event->verdict == Verdict::unjudged &&
        (event->reason == Reason::fuel_cut || event->reason == Reason::cranking)) {
        ++score.excused;
        return;
    }
    ++score.missed.of;
    if (event != nullptr && event->verdict == Verdict::misfire) {
        ++score.wrong_cylinder.of;
        if (!names(*event, row.cylinder)) ++score.wrong_cylinder.count;
        return;
    }
    ++score.missed.count;
    if (event == nullptr) ++score.missed_absent.count;
    if (event != nullptr && event->verdict == Verdict::unjudged) ++score.missed_unjudged.count;
}

void count_judged(const Event* event, Share& share) {
    if (event == nullptr || event->verdict == Verdict::unjudged) return;
    ++share.of;
    if (event->verdict == Verdict::misfire) ++share.count;
}

void count_row(const TruthRow& row, const Event* event, const ScoreOptions& options, Score& score) {
    if (event != nullptr && names_any(*event)) {
        ++score.misnamed.of;
        if (!names(*event, row.cylinder)) ++score.misnamed.count;
    }
    if (row.fuel_cut) {
        ++score.fuel_cut_firings;
        if (event != nullptr && event->verdict == Verdict::misfire) ++score.fuel_cut_called;
    } else if (std::isnan(row.severity)) {
        ++score.unlabelled;
    } else if (row.severity >= options.misfire_severity) {
        count_misfire(row, event, score);
    } else if (row.severity <= options.healthy_severity) {
        count_judged(event, score.false_alarms);
        if (event != nullptr && event->verdict == Verdict::unjudged) ++score.healthy_unjudged;
    } else {
        count_judged(event, score.partial_called);
    }
}

void count_surplus(const std::vector<Event>& events, const std::vector<std::ptrdiff_t>& event_of, Score& score) {
    std::vector<bool> used(events.size(), false);
    for (const std::ptrdiff_t event : event_of)
        if (event != kNone) used[static_cast<std::size_t>(event)] = true;
    for (std::size_t i = 0; i < events.size(); ++i) {
        if (used[i]) continue;
        ++score.surplus;
        if (events[i].verdict == Verdict::misfire) ++score.surplus_called;
    }
}

}  // namespace

std::vector<std::ptrdiff_t> match_events(const std::vector<Event>& events, const std::vector<TruthRow>& truth) {
    std::vector<std::ptrdiff_t> event_of(truth.size(), kNone);
    std::size_t row = 0;
    for (std::size_t i = 0; i < events.size() && !truth.empty(); ++i) {
        const auto distance = [&](std::size_t r) { return std::abs(truth[r].time_s - events[i].time_s); };
        while (row + 1 < truth.size() && distance(row + 1) <= distance(row)) ++row;
        if (!(distance(row) <= reach(truth, row))) continue;
        std::ptrdiff_t& holder = event_of[row];
        if (holder == kNone ||
            distance(row) < std::abs(truth[row].time_s - events[static_cast<std::size_t>(holder)].time_s))
            holder = static_cast<std::ptrdiff_t>(i);
    }
    return event_of;
}

Score score(const std::vector<Event>& events, const std::vector<TruthRow>& truth, const ScoreOptions& options) {
    Score score;
    score.truth_firings = static_cast<std::int64_t>(truth.size());
    score.events = static_cast<std::int64_t>(events.size());
    const std::vector<std::ptrdiff_t> event_of = match_events(events, truth);
    for (std::size_t i = 0; i < truth.size(); ++i) {
        const Event* event = event_of[i] == kNone ? nullptr : &events[static_cast<std::size_t>(event_of[i])];
        count_row(truth[i], event, options, score);
        if (event != nullptr) {
            ++score.matched;
            continue;
        }
        ++score.absent;
        if (events.empty() || truth[i].time_s < events.front().time_s || truth[i].time_s > events.back().time_s)
            ++score.absent_at_ends;
    }
    score.missed_absent.of = score.missed_unjudged.of = score.missed.of;
    count_surplus(events, event_of, score);
    return score;
}

}  // namespace kurbel
