#include "kurbel/study/swap.hpp"

#include <cmath>

#include "kurbel/study/binomial.hpp"
#include "kurbel/study/cautions.hpp"
#include "kurbel/study/dispersion.hpp"
#include "kurbel/study/two_sample.hpp"
#include "study/doubtful_tdc.hpp"
#include "study/swap_words.hpp"
#include "text/json.hpp"
#include "text/text.hpp"

namespace kurbel {

namespace {

using swap::Story;
using text::Json;
using text::number;

Json side_json(const FiringRecord& record) {
    const Interval range = exact_interval(record.misfires(), record.firings());
    const auto n = static_cast<double>(record.firings());
    return {{"judged", record.firings()},
            {"misfires", record.misfires()},
            {"rate", record.firings() > 0 ? Json(static_cast<double>(record.misfires()) / n) : Json(nullptr)},
            {"rate_low", range.low},
            {"rate_high", range.high}};
}

/// Variance of 50-firing blocks over that of independent losses.
double dispersion_of(const FiringRecord& record) {
    BlockDispersion blocks;
    for (const std::int32_t token : record.tokens()) {
        if (token == 0) blocks.restart();
        if (token == -1) blocks.push(true);
        for (std::int32_t i = 0; i < token; ++i) blocks.push(false);
    }
    return blocks.ratio();
}

Json row_json(const swap::Row& row, const std::vector<int>& to) {
    Json json;
    json["cylinder"] = row.pair() ? Json(nullptr) : Json(row.cylinder[0]);
    if (row.pair()) json["candidates"] = {row.cylinder[0], row.cylinder[1]};
    json["moved"] = row.moved;
    if (!row.pair()) json["part_went_to"] = to[static_cast<std::size_t>(row.cylinder[0])];
    json["before"] = side_json(row.before);
    json["after"] = side_json(row.after);
    json["dispersion"] = {{"before", number(dispersion_of(row.before))}, {"after", number(dispersion_of(row.after))}};
    json["exact_test_p"] = number(
        fisher_exact({row.before.misfires(), row.before.firings()}, {row.after.misfires(), row.after.firings()}));
    return json;
}

Json point_json(const OperatingPoint& point, std::int64_t kept) {
    return {{"judged", point.judged},
            {"compared", kept},
            {"speed_rpm", number(point.speed_rpm)},
            {"load", number(point.load)},
            {"coolant_c", number(point.coolant_c)}};
}

Json evidence_json(const swap::Outcome& outcome) {
    Json json;
    for (const Story story : {Story::followed, Story::stayed, Story::vanished, Story::other})
        json["probabilities"][swap::word(story)] = outcome.posterior.of(story);
    json["probabilities"]["no_fault"] = outcome.posterior.of(Story::nothing);
    json["decide"] = outcome.decide;
    json["more_seconds"] = number(outcome.more_seconds);
    json["chance_by_then"] = outcome.forecast_made ? Json(outcome.chance) : Json(nullptr);
    json["moved"] = Json::array();
    for (std::size_t c = 1; c < outcome.to.size(); ++c)
        if (outcome.to[c] != static_cast<int>(c)) json["moved"].push_back({{"from", c}, {"to", outcome.to[c]}});
    json["rows"] = Json::array();
    for (const swap::Row& row : outcome.given.rows) json["rows"].push_back(row_json(row, outcome.to));
    const CommonFirings& common = outcome.given.common;
    json["conditions"] = {{"speed_rpm_within", SimilarConditions::kSpeed_rpm},
                          {"load_within", common.load_known ? Json(SimilarConditions::kLoad) : Json(nullptr)},
                          {"warm_from_c", common.temperature_known ? Json(SimilarConditions::kWarm_c) : Json(nullptr)},
                          {"before", point_json(outcome.given.point_before, common.kept_before)},
                          {"after", point_json(outcome.given.point_after, common.kept_after)}};
    json["phase_known"] = !outcome.given.paired;
    return json;
}

void check_options(const SwapOptions& options) {
    if (!(options.decide > 0.5 && options.decide < 1.0)) throw WrongQuestion("decide: must lie above 0.5 and below 1");
}

std::string verdict_of(const swap::Posterior& posterior, double decide) {
    const Story told = posterior.told(decide);
    return told == Story::nothing ? "undecided" : swap::word(told);
}

}  // namespace

Answer study_swap(const std::vector<JudgedRecording>& before, const std::vector<JudgedRecording>& after,
                  const std::vector<Move>& moves, const SwapOptions& options) {
    check_options(options);
    if (before.empty() || after.empty())
        throw WrongQuestion("give at least one recording made before the parts were moved and one made after");
    std::vector<const JudgedRecording*> all;
    for (const JudgedRecording& recording : before) all.push_back(&recording);
    for (const JudgedRecording& recording : after) all.push_back(&recording);
    swap::Outcome outcome;
    outcome.to = moved_to(moves, before.front().config.engine.cylinders);
    outcome.given = swap::make_case(before, after, outcome.to);
    refuse_repeats(all);
    outcome.decide = options.decide;
    const swap::Model model(outcome.given);
    const std::vector<swap::Seen> seen = swap::see(outcome.given.rows, &swap::Row::after);
    outcome.posterior = model.posterior(seen);
    const std::string doubt = doubtful_tdc({&before, &after});
    outcome.verdict = doubt.empty() ? verdict_of(outcome.posterior, options.decide) : "undecided";
    constexpr double kNoFault = 0.5;  // likelier than not: what is missing is a misfire before, not time after
    if (outcome.verdict == "undecided" && doubt.empty() && options.forecast &&
        outcome.given.pace.cycles_per_second > 0.0 && outcome.posterior.of(Story::nothing) < kNoFault) {
        const swap::Forecast forecast = swap::forecast(outcome.given, model, seen, outcome.posterior, options.decide);
        outcome.more_seconds = std::ceil(10.0 * forecast.cycles / outcome.given.pace.cycles_per_second) / 10.0;
        outcome.chance = forecast.chance;
        outcome.forecast_made = true;
    }
    Answer answer;
    answer.study = "swap";
    answer.question = "Parts were moved between cylinders (" + swap::moves_text(outcome.to) +
                      "). Did the misfire go with its part, stay with its cylinder, or vanish?";
    answer.verdict = outcome.verdict;
    answer.sentence = doubt.empty() ? swap::sentence(outcome) : doubt;
    answer.table = swap::table(outcome);
    answer.evidence = evidence_json(outcome).dump();
    answer.cautions = cautions({Caution::ignition_voltage, Caution::fuel_pressure, Caution::running_engine,
                                Caution::hot_exhaust, Caution::unburnt_fuel, Caution::carbon_monoxide});
    answer.picture = swap::picture(outcome, answer.sentence);
    return answer;
}

}  // namespace kurbel
