// One cell, run: the detector as it comes, and the published classic with the best threshold that the truth can find for it.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <limits>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "cell.hpp"
#include "draw.hpp"
#include "kurbel/read/analysis.hpp"
#include "kurbel/simulate/simulator.hpp"
#include "kurbel/study/score.hpp"

namespace kurbel_detection {

/// What is asked of every cell.
inline constexpr double kMostMissed = 0.01;
inline constexpr double kMostFalseAlarms = 0.001;

struct Outcome {
    Cell cell{};
    kurbel::Score ours{};
    kurbel::Share classic_missed{};        ///< at the best threshold
    kurbel::Share classic_false_alarms{};  ///< there; at most kMostFalseAlarms
    bool stalled = false;                  ///< the engine did not run to the end: no cell
};

[[nodiscard]] inline bool meets_target(const Outcome& outcome) noexcept {
    return !outcome.stalled && outcome.ours.missed.rate() <= kMostMissed &&
           outcome.ours.false_alarms.rate() <= kMostFalseAlarms;
}

[[nodiscard]] inline std::vector<kurbel::Event> events_of(const kurbel::read::Recording& recording,
                                                          kurbel::Method method) {
    kurbel::Settings settings;
    settings.method = method;
    kurbel::Result<kurbel::read::Analysis> result = kurbel::read::analyze(recording, settings);
    if (!result.ok()) throw std::runtime_error(std::string(result.status.parameter) + " " + result.status.why);
    return std::move(result.value.events);
}

namespace detail {

using Statistic = double kurbel::Event::*;

/// One way to read the classic: which of its numbers is the score, and which firing it accuses. Its difference of two periods
/// lies between two firings, and either of them can be meant.
struct Reading {
    Statistic statistic;
    std::size_t shift;  ///< 0: the event's own firing, after the difference; 1: the firing before it
};

/// Scores of all events, NaN where there is none.
[[nodiscard]] inline std::vector<double> scores_of(const std::vector<kurbel::Event>& events, const Reading& reading) {
    std::vector<double> scores(events.size(), kurbel::kUnknown);
    for (std::size_t i = 0; i + reading.shift < events.size(); ++i)
        scores[i] = events[i + reading.shift].*reading.statistic;
    return scores;
}

/// Calls every firing a misfire whose score is at least `limit`, whatever was thought of it before.
inline void call_by(std::vector<kurbel::Event>& events, const std::vector<double>& scores, double limit) {
    for (std::size_t i = 0; i < events.size(); ++i) {
        events[i].reason = kurbel::Reason::none;
        events[i].verdict = std::isnan(scores[i]) ? kurbel::Verdict::unjudged
                            : scores[i] >= limit  ? kurbel::Verdict::misfire
                                                  : kurbel::Verdict::fired;
    }
}

/// Score at the threshold with the fewest misses among those with at most kMostFalseAlarms false alarms. A higher threshold
/// never has more of them, so bisection over the scores themselves finds it.
[[nodiscard]] inline kurbel::Score best_score(std::vector<kurbel::Event> events,
                                              const std::vector<kurbel::read::TruthRow>& truth,
                                              const Reading& reading) {
    const std::vector<double> scores = scores_of(events, reading);
    std::vector<double> limits;
    std::copy_if(scores.begin(), scores.end(), std::back_inserter(limits), [](double s) { return !std::isnan(s); });
    std::sort(limits.begin(), limits.end());
    const auto too_low = [&](double limit) {
        call_by(events, scores, limit);
        return kurbel::score(events, truth).false_alarms.rate() > kMostFalseAlarms;
    };
    const auto best = std::partition_point(limits.begin(), limits.end(), too_low);
    call_by(events, scores, best == limits.end() ? std::numeric_limits<double>::infinity() : *best);
    return kurbel::score(events, truth);
}

}  // namespace detail

/// The classic at its best: bare roughness as a share of the expected work, or in standard deviations of each cylinder's
/// healthy firings; accusing either of the two firings that its difference lies between.
inline void judge_classic(const kurbel::read::Recording& recording, Outcome& outcome) {
    const std::vector<kurbel::Event> events = events_of(recording, kurbel::Method::segment_roughness);
    bool first = true;
    for (const detail::Statistic statistic : {&kurbel::Event::severity, &kurbel::Event::evidence})
        for (const std::size_t shift : {0U, 1U}) {
            const kurbel::Score score = detail::best_score(events, recording.truth, {statistic, shift});
            if (!first && !(score.missed.rate() < outcome.classic_missed.rate())) continue;
            outcome.classic_missed = score.missed;
            outcome.classic_false_alarms = score.false_alarms;
            first = false;
        }
}

/// Simulates and judges one scenario.
[[nodiscard]] inline Outcome run(const Cell& cell, const kurbel::simulate::Scenario& scenario) {
    const kurbel::read::Recording recording = kurbel::simulate::simulate(scenario);
    Outcome outcome;
    outcome.cell = cell;
    outcome.stalled = recording.truth.empty() || recording.truth.back().time_s < scenario.seconds - 1.0;
    outcome.ours = kurbel::score(events_of(recording, kurbel::Method::work), recording.truth);
    judge_classic(recording, outcome);
    return outcome;
}

}  // namespace kurbel_detection
