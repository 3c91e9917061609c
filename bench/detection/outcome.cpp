#include "outcome.hpp"

#include <algorithm>
#include <cmath>
#include <ctime>
#include <exception>

#include "baselines.hpp"
#include "bins.hpp"
#include "observer.hpp"

namespace kurbel_detection {

namespace {

double processor_s() {
    timespec now{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

bool called(const Firing& firing) { return firing.has_event && firing.event.verdict == kurbel::Verdict::misfire; }
bool unjudged(const Firing& firing) { return firing.has_event && firing.event.verdict == kurbel::Verdict::unjudged; }

/// An engine that did not run to the end, or whose crank turned backwards on the way, is no example of the condition.
bool has_stalled(const Scenario& scenario, const Recorded& recorded) {
    const auto& truth = recorded.recording.truth;
    return recorded.turned_back || truth.empty() || truth.back().time_s < scenario.seconds - 1.0;
}

bool excused(const Firing& firing) {
    if (!unjudged(firing)) return false;
    const kurbel::Reason reason = firing.event.reason;
    return reason == kurbel::Reason::fuel_cut || reason == kurbel::Reason::cranking ||
           (reason == kurbel::Reason::rough_road && firing.on_rough_road);
}

bool names(const kurbel::Event& event, int cylinder) {
    if (event.cylinder > 0) return event.cylinder == cylinder;
    return event.candidates[0] == cylinder || event.candidates[1] == cylinder;
}

void count_misfire(const std::vector<Firing>& firings, std::size_t i, Outcome& outcome) {
    const Firing& firing = firings[i];
    if (excused(firing)) {
        ++outcome.excused;
        return;
    }
    ++outcome.missed.of;
    ++outcome.wrong_cylinder.of;
    if (called(firing)) {
        if (!names(firing.event, firing.truth.cylinder)) ++outcome.wrong_cylinder.count;
        return;
    }
    ++outcome.missed.count;
    if (!firing.has_event) ++outcome.missed_absent;
    if (unjudged(firing)) ++outcome.missed_for[static_cast<std::size_t>(firing.event.reason)];
    for (const std::size_t next : {i - 1, i + 1})
        if (next < firings.size() && firings[next].kind == Truth::healthy && called(firings[next])) {
            ++outcome.wrong_cylinder.count;
            break;
        }
}

Scores evidence_of(const std::vector<Firing>& firings) {
    Scores scores;
    for (const Firing& firing : firings) scores.push_back(firing.has_event ? firing.event.evidence : kurbel::kUnknown);
    return scores;
}

void add_readings(Rival& rival, Readings readings, const std::vector<Firing>& firings) {
    rival.readings.resize(readings.size());
    for (std::size_t r = 0; r < readings.size(); ++r) {
        standardise(readings[r], firings);
        rival.readings[r].add(readings[r], firings);
    }
}

void ask_rivals(const Recording& recording, const std::vector<Firing>& firings, Outcome& outcome) {
    const Bins bins = bins_of(recording);
    add_readings(outcome.rivals[kClassic], classic(recording), firings);
    add_readings(outcome.rivals[kCycleDifference], cycle_difference(bins, firings), firings);
    add_readings(outcome.rivals[kOrderPhasor], order_phasor(bins, firings), firings);
    const Scores observed = observe(bins, firings, Level::absolute);
    for (std::size_t i = 0; i < firings.size(); ++i) {
        if (firings[i].kind != Truth::misfire || std::isnan(observed[i]) || excused(firings[i])) continue;
        ++outcome.missed_where_observed.of;
        if (!called(firings[i])) ++outcome.missed_where_observed.count;
    }
    add_readings(outcome.rivals[kObserver], {observed, observe(bins, firings, Level::relative)}, firings);
}

}  // namespace

std::string shortfall(const Outcome& outcome) {
    constexpr double kMostWrong = 1e-4;
    constexpr double kMostUnjudged = 0.03;
    constexpr double kBehindObserver = 0.005;
    const Limits limits = limits_of(outcome.cell->kind);
    std::string text;
    const auto add = [&](const char* word) { text += (text.empty() ? "" : ", ") + std::string(word); };
    if (!outcome.error.empty() || outcome.engines == 0) return "not run";
    if (outcome.missed.of > 0 && outcome.missed.rate() > limits.missed) {
        const double observer = outcome.rivals[kObserver].missed.rate();
        const bool excuse = outcome.cell->kind != Kind::steady && observer > limits.missed &&
                            outcome.missed_where_observed.rate() <= observer + kBehindObserver;
        if (!excuse) add("missed");
    }
    if (outcome.false_alarms.rate() > limits.false_alarms) add("false");
    if (outcome.wrong_cylinder.of > 0 && outcome.wrong_cylinder.rate() > kMostWrong) add("wrong");
    if (outcome.unjudged.rate() > kMostUnjudged) add("unjudged");
    return text;
}

void add_counts(const Judged& judged, std::uint64_t drawn, Outcome& outcome) {
    const std::vector<Firing>& firings = judged.firings;
    for (std::size_t i = 0; i < firings.size(); ++i) {
        const Firing& firing = firings[i];
        bool fault = false;
        switch (firing.kind) {
            case Truth::misfire:
                count_misfire(firings, i, outcome);
                fault = !called(firing) && !excused(firing);
                break;
            case Truth::healthy:
                if (!firing.has_event || unjudged(firing)) break;
                ++outcome.false_alarms.of;
                fault = called(firing);
                if (!fault) break;
                ++outcome.false_alarms.count;
                break;
            case Truth::weak:
                ++outcome.weak_called.of;
                if (called(firing)) ++outcome.weak_called.count;
                break;
            case Truth::no_fuel:
                fault = called(firing);
                if (fault) ++outcome.false_without_fuel;
                break;
            case Truth::partial: break;
        }
        if (firing.kind != Truth::no_fuel && firing.has_event && !excused(firing)) {
            ++outcome.unjudged.of;
            if (unjudged(firing)) ++outcome.unjudged.count;
        }
        if (!std::isnan(firing.delay_firings)) outcome.delays.push_back(firing.delay_firings);
        if (fault) outcome.faults.push_back({drawn, firing});
    }
    outcome.false_surplus += judged.surplus_called;
    outcome.losses += judged.sync.losses;
    outcome.evidence.add(evidence_of(firings), firings);
    outcome.reliability.add(firings);
    ++outcome.engines;
}

void sum_up(Outcome& outcome) {
    outcome.false_alarms.count += outcome.false_without_fuel + outcome.false_surplus;
    outcome.auc = area_under_roc(outcome.evidence);
    outcome.delay_median = median(outcome.delays);
    if (!outcome.delays.empty())
        outcome.delay_longest = *std::max_element(outcome.delays.begin(), outcome.delays.end());
    outcome.delays.clear();
    const double most_false = limits_of(outcome.cell->kind).false_alarms;
    outcome.missed_at_best = best_missed(outcome.evidence, most_false);
    for (Rival& rival : outcome.rivals)
        for (const Pool& pool : rival.readings) {
            const kurbel::Share missed = best_missed(pool, most_false);
            if (rival.missed.of > 0 && !(missed.rate() < rival.missed.rate())) continue;
            rival.missed = missed;
            rival.auc = area_under_roc(pool);
        }
    outcome.evidence = {};
    for (Rival& rival : outcome.rivals) rival.readings.clear();
}

bool holds_enough(const Outcome& outcome, const Amount& amount, int engines) noexcept {
    return engines >= amount.engines && outcome.false_alarms.of >= amount.healthy &&
           (outcome.cell->kind == Kind::healthy || outcome.missed.of + outcome.excused >= amount.misfires);
}

std::string for_each_engine(const Cell& cell, const RunOptions& options, const std::function<bool(int)>& enough,
                            const std::function<void(const Scenario&, const Recorded&, std::uint64_t)>& take,
                            int* stalled) {
    constexpr int kMostEngines = 2000;
    int engines = 0;
    try {
        for (int number = 0; !enough(engines) && number < kMostEngines; ++number) {
            const Scenario scenario = draw_scenario(cell, options.datasets, options.amount, options.seed, number);
            const Recorded recorded = record(cell, scenario);
            if (has_stalled(scenario, recorded)) {
                if (stalled != nullptr) ++*stalled;
                continue;
            }
            take(scenario, recorded, draw_number(cell, options.seed, number));
            ++engines;
        }
    } catch (const std::exception& error) {
        return error.what();
    }
    return engines > 0 ? "" : "no engine ran to the end";
}

Outcome run(const Cell& cell, const RunOptions& options) {
    Outcome outcome;
    outcome.cell = &cell;
    const double started_s = processor_s();
    double others_s = 0.0;
    const auto enough = [&](int engines) { return holds_enough(outcome, options.amount, engines); };
    const auto take = [&](const Scenario& scenario, const Recorded& recorded, std::uint64_t drawn) {
        const Recording& recording = recorded.recording;
        const double recorded_s = processor_s();
        const Judged judged = judge(scenario, recording, options.settings);
        outcome.detecting_s += processor_s() - recorded_s;
        add_counts(judged, drawn, outcome);
        if (options.rivals && cell.kind != Kind::healthy) ask_rivals(recording, judged.firings, outcome);
        outcome.seconds += scenario.seconds;
        others_s += processor_s() - recorded_s;
    };
    outcome.error = for_each_engine(cell, options, enough, take, &outcome.stalled);
    outcome.simulating_s = processor_s() - started_s - others_s;
    sum_up(outcome);
    return outcome;
}

}  // namespace kurbel_detection
