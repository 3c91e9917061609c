#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "kurbel/read/input_error.hpp"
#include "kurbel/study/cautions.hpp"
#include "kurbel/study/dispersion.hpp"
#include "kurbel/study/sequential_exact.hpp"
#include "study/doubtful_tdc.hpp"
#include "study/verify_outcome.hpp"
#include "study/why_unjudged.hpp"
#include "text/json.hpp"
#include "text/text.hpp"

namespace kurbel {

namespace {

using text::Json;
using text::number;
using verify::Outcome;

bool is_of(const Event& event, int cylinder) {
    return event.verdict != Verdict::unjudged &&
           (event.cylinder == cylinder ||
            (event.cylinder == 0 && (event.candidates[0] == cylinder || event.candidates[1] == cylinder)));
}

void check(const JudgedRecording& recording, int cylinder, const VerifyOptions& options,
           const JudgedRecording* before) {
    const int cylinders = recording.config.engine.cylinders;
    if (cylinder < 1 || cylinder > cylinders)
        throw WrongQuestion("cylinder: there is no cylinder " + std::to_string(cylinder) + "; this engine has 1 to " +
                            std::to_string(cylinders));
    if (!(options.limit_percent >= 0.01 && options.limit_percent <= 50.0))
        throw WrongQuestion("limit: must lie in 0.01 to 50 percent of the cylinder's firings");
    if (!(options.confidence_percent >= 50.0 && options.confidence_percent <= 99.99))
        throw WrongQuestion("confidence: must lie in 50 to 99.99 percent");
    if (2.0 * recording.config.settings.false_alarm >= options.limit_percent / 100.0)
        throw WrongQuestion(
            "limit: lies within twice the accepted false-alarm rate, so no recording could tell; ask "
            "for a higher limit");
    const auto judged = [&](const JudgedRecording& r) {
        return std::any_of(r.events.begin(), r.events.end(), [&](const Event& e) { return is_of(e, cylinder); });
    };
    if (!judged(recording))
        throw read::InputError(recording.name, 0,
                               "no firing of cylinder " + std::to_string(cylinder) + " could be judged: " +
                                   (recording.judged() == 0 ? why_unjudged(recording)
                                                            : "record at least a minute with the engine running, warm "
                                                              "and steady"));
    if (before == nullptr) return;
    if (before->config.engine.cylinders != cylinders ||
        before->config.engine.firing_order != recording.config.engine.firing_order)
        throw read::InputError(before->name, 0,
                               "is of another engine than " + recording.name + "; give recordings of one engine");
    if (!judged(*before))
        throw read::InputError(before->name, 0,
                               "no firing of cylinder " + std::to_string(cylinder) +
                                   " could be judged; leave --before out, or give a recording with the engine running");
}

/// How misfires cluster in BEFORE: the variance ratio of its blocks where that is beyond chance (90 %), else 1.
double dispersion_of(const JudgedRecording* before, int cylinder) {
    if (before == nullptr) return 1.0;
    BlockDispersion blocks;
    for (const Event& event : before->events)
        if (is_of(event, cylinder)) blocks.push(event.verdict == Verdict::misfire);
    const double ratio = blocks.ratio();
    constexpr double kOneSided90 = 1.2816;
    // The ratio of n blocks scatters by sqrt(2 / (n - 1)) about 1.
    const double beyond = 1.0 + kOneSided90 * std::sqrt(2.0 / (static_cast<double>(blocks.blocks()) - 1.0));
    return ratio > beyond ? ratio : 1.0;
}

/// The middle 90 % of some values.
verify::Span span_of(std::vector<double> values) {
    if (values.empty()) return {};
    std::sort(values.begin(), values.end());
    const auto at = [&](double share) {
        return values[static_cast<std::size_t>(share * static_cast<double>(values.size() - 1) + 0.5)];
    };
    return {at(0.05), at(0.95)};
}

void run(const JudgedRecording& recording, Outcome& outcome) {
    std::vector<double> speed;
    std::vector<double> load;
    std::vector<double> coolant;
    const auto known = [](std::vector<double>& values, double value) {
        if (!std::isnan(value)) values.push_back(value);
    };
    for (std::size_t i = 0; i < recording.events.size(); ++i) {
        const Event& event = recording.events[i];
        if (!is_of(event, outcome.cylinder)) continue;
        if (std::isnan(outcome.began_s)) outcome.began_s = event.time_s;
        const std::int64_t misfires = outcome.test.misfires();
        const std::int64_t firings = outcome.test.firings();
        outcome.test.push(event);
        if (outcome.test.firings() <= firings) outcome.path.clear();  // the phase became known
        if (outcome.test.misfires() > misfires) {
            outcome.path.push_back({firings, misfires});
            outcome.path.push_back({outcome.test.firings(), outcome.test.misfires()});
        }
        known(speed, event.speed_rpm);
        known(load, event.load);
        known(coolant, recording.coolant(i));
    }
    outcome.path.push_back({outcome.test.firings(), outcome.test.misfires()});
    outcome.speed = span_of(speed);
    outcome.load = span_of(load);
    outcome.coolant = span_of(coolant);
    const RepairState state = outcome.test.state();
    outcome.verdict = state == RepairState::running ? "undecided" : name(state);
}

/// Under which conditions BEFORE misfired that the recording never met.
void find_gaps(const JudgedRecording& recording, const JudgedRecording& before, Outcome& outcome) {
    outcome.has_before = true;
    const CommonFirings common = common_firings({before}, {recording});
    std::map<std::tuple<int, int, int>, std::int64_t> cells;
    for (std::size_t i = 0; i < before.events.size(); ++i) {
        const Event& event = before.events[i];
        if (!is_of(event, outcome.cylinder) || event.verdict != Verdict::misfire) continue;
        ++outcome.before_misfires;
        if (common.before[0][i]) continue;
        ++outcome.before_missed;
        const bool speed_known = event.speed_rpm > 0.0;
        const bool load_known = common.load_known && !std::isnan(event.load);
        const bool coolant_known = common.temperature_known && !std::isnan(before.coolant(i));
        ++cells[{speed_known ? static_cast<int>(event.speed_rpm / SimilarConditions::kSpeed_rpm) : 0,
                 load_known ? static_cast<int>(event.load / SimilarConditions::kLoad) : -1,
                 coolant_known ? (before.coolant(i) >= SimilarConditions::kWarm_c ? 1 : 0) : -1}];
    }
    for (const auto& [cell, misfires] : cells)
        outcome.gaps.push_back({std::get<0>(cell), std::get<1>(cell), std::get<2>(cell), misfires});
    std::sort(outcome.gaps.begin(), outcome.gaps.end(),
              [](const verify::Gap& a, const verify::Gap& b) { return a.misfires > b.misfires; });
}

Json span_json(const verify::Span& span) { return {{"low", number(span.low)}, {"high", number(span.high)}}; }

Json gaps_json(const Outcome& outcome) {
    if (!outcome.has_before) return nullptr;
    Json list = Json::array();
    for (const verify::Gap& gap : outcome.gaps)
        list.push_back(
            {{"speed_rpm_low", gap.speed_step * SimilarConditions::kSpeed_rpm},
             {"speed_rpm_high", (gap.speed_step + 1) * SimilarConditions::kSpeed_rpm},
             {"load_low", gap.load_step < 0 ? Json(nullptr) : Json(gap.load_step * SimilarConditions::kLoad)},
             {"load_high", gap.load_step < 0 ? Json(nullptr) : Json((gap.load_step + 1) * SimilarConditions::kLoad)},
             {"warm", gap.warm < 0 ? Json(nullptr) : Json(gap.warm == 1)},
             {"misfires_before", gap.misfires}});
    return list;
}

Json evidence_json(const Outcome& outcome) {
    const RepairTest& test = outcome.test;
    const SequentialPlan& plan = test.plan();
    const bool running = test.state() == RepairState::running;
    Json json;
    json["cylinder"] = outcome.cylinder;
    json["pair"] = test.pair();
    json["firings"] = test.firings();
    json["misfires"] = test.misfires();
    json["stopped_s"] = number(test.decided_s());
    json["seconds_to_decision"] = number(outcome.seconds_to_decision());
    json["stopped_firings"] = running ? Json(nullptr) : Json(test.decided_firings());
    json["stopped_misfires"] = running ? Json(nullptr) : Json(test.decided_misfires());
    json["came_back_after_s"] = number(test.was_gone_s());
    json["rate_upper"] = test.rate_upper();
    json["clean_needed"] = running ? Json(test.clean_needed()) : Json(nullptr);
    json["more_seconds"] = running ? number(test.seconds_needed()) : Json(nullptr);
    json["plan"] = {{"limit", plan.bad},
                    {"good", plan.good},
                    {"error", plan.error},
                    {"dispersion", plan.dispersion},
                    {"truncated_at", plan.most}};
    const SequentialCourse at_good = exact_course(plan, plan.good);
    const SequentialCourse at_bad = exact_course(plan, plan.bad);
    // The recursion is of independent losses; with a dispersion the plan is wider than they need.
    json["errors"] = {{"gone_at_limit", at_bad.gone},
                      {"remains_at_good", at_good.remains},
                      {"undecided_at_good", at_good.undecided},
                      {"mean_firings_at_good", at_good.mean_firings},
                      {"mean_firings_at_limit", at_bad.mean_firings}};
    json["covered"] = {{"speed_rpm", span_json(outcome.speed)},
                       {"load", span_json(outcome.load)},
                       {"coolant_c", span_json(outcome.coolant)}};
    json["not_covered"] = gaps_json(outcome);
    json["before_misfires"] = outcome.has_before ? Json(outcome.before_misfires) : Json(nullptr);
    json["before_misfires_not_covered"] = outcome.has_before ? Json(outcome.before_missed) : Json(nullptr);
    return json;
}

}  // namespace

Answer study_verify(const JudgedRecording& recording, int cylinder, const VerifyOptions& options,
                    const JudgedRecording* before) {
    check(recording, cylinder, options, before);
    if (before != nullptr) refuse_repeats({&recording, before});
    Outcome outcome;
    outcome.cylinder = cylinder;
    outcome.options = options;
    outcome.test = RepairTest({.cylinder = cylinder,
                               .limit = options.limit_percent / 100.0,
                               .confidence = options.confidence_percent / 100.0,
                               .false_alarm = recording.config.settings.false_alarm,
                               .dispersion = dispersion_of(before, cylinder)});
    run(recording, outcome);
    outcome.who = "cylinder " + std::to_string(cylinder);
    if (outcome.test.pair())
        for (const Event& event : recording.events)
            if (event.cylinder == 0 && is_of(event, cylinder) && event.candidates[1] > 0) {
                outcome.who = text::format("cylinder %d or %d", event.candidates[0], event.candidates[1]);
                break;
            }
    if (before != nullptr) find_gaps(recording, *before, outcome);
    Answer answer;
    answer.study = "verify";
    answer.question = text::format("Does cylinder %d misfire no more, or still at %.4g %% of its firings or more?",
                                   cylinder, options.limit_percent);
    const std::string doubt = doubtful_tdc(recording);
    if (!doubt.empty()) outcome.verdict = "undecided";
    answer.verdict = outcome.verdict;
    answer.sentence = doubt.empty() ? verify::sentence(outcome) : doubt;
    answer.table = verify::table(outcome);
    answer.evidence = evidence_json(outcome).dump();
    answer.cautions = outcome.verdict == "gone"
                          ? cautions({Caution::running_engine, Caution::hot_exhaust, Caution::carbon_monoxide})
                          : cautions({Caution::unburnt_fuel, Caution::running_engine, Caution::hot_exhaust,
                                      Caution::carbon_monoxide});
    answer.picture = verify::picture(outcome, answer.sentence);
    return answer;
}

}  // namespace kurbel
