// summary.json.
#include <algorithm>
#include <cmath>
#include <vector>

#include "command/outcome.hpp"
#include "kurbel/core/version.hpp"
#include "text/json.hpp"

namespace kurbel::command {

namespace {

using text::Json;
using text::number;

Json line_json(const CylinderLine& line) {
    const TallyRow& row = line.counts;
    Json json;
    text::name_cylinder(json, row.cylinder, row.candidates);
    json["firings"] = row.firings;
    json["judged"] = row.judged;
    json["misfires"] = row.misfires;
    json["rate"] = number(line.rate);
    json["rate_low"] = row.judged > 0 ? Json(line.interval.low) : Json(nullptr);
    json["rate_high"] = row.judged > 0 ? Json(line.interval.high) : Json(nullptr);
    json["mean_severity"] = number(row.mean_severity());
    return json;
}

Json sync_json(const SyncState& sync, const std::vector<double>& found_again_s) {
    return {{"edges", sync.edges},   {"teeth", sync.teeth},       {"revolutions", sync.revolutions},
            {"losses", sync.losses}, {"extra", sync.extra},       {"missed", sync.missed},
            {"faults", sync.faults}, {"phase", name(sync.phase)}, {"found_again_s", found_again_s}};
}

Json unjudged_json(const Tally& tally) {
    Json json = Json::object();
    for (int reason = 1; reason < 9; ++reason)
        if (const std::int64_t count = tally.unjudged(static_cast<Reason>(reason)); count > 0)
            json[name(static_cast<Reason>(reason))] = count;
    return json;
}

/// `checked`: whether the motion could tell anything of TDC; `fits`: null where it could not.
Json offset_json(const TdcOffset& offset) {
    return {{"checked", offset.known()},
            {"fits", offset.known() ? Json(!offset.beyond()) : Json(nullptr)},
            {"degrees", number(offset.offset_deg)},
            {"low", number(offset.low_deg)},
            {"high", number(offset.high_deg)},
            {"period", number(offset.period_deg)}};
}

/// Where load comes from. What the crank tells is an estimate, and relative: it takes no part in the verdicts.
Json load_json(const Outcome& outcome) {
    if (!outcome.crank_load) return {{"source", "channel"}};
    const channel::CrankLoad& load = *outcome.crank_load;
    if (!load.known()) return {{"source", "none"}, {"why_no_estimate", load.why_not}};
    std::vector<double> sorted = load.load;
    std::sort(sorted.begin(), sorted.end());
    std::vector<double> doubt = load.doubt;
    std::sort(doubt.begin(), doubt.end());
    const auto at = [&](std::size_t percent) { return number(sorted[(sorted.size() - 1) * percent / 100]); };
    return {{"source", "estimated from the crank"},
            {"relative_to", "the 95 % point of this recording"},
            {"low", at(5)},
            {"median", at(50)},
            {"high", at(95)},
            {"standard_error", number(doubt[doubt.size() / 2])},
            {"piston_masses_known", load.pistons_known}};
}

/// `same`: true, false, or null where the recording is too short to tell.
Json wheel_json(const WheelUse& wheel) {
    const SameWheel same = same_wheel(wheel.fit);
    return {{"file", wheel.file},
            {"same", same == SameWheel::unsure ? Json(nullptr) : Json(same == SameWheel::same)},
            {"left_deg", number(wheel.fit.rms_left_deg)},
            {"chi_square", number(wheel.fit.chi_square)},
            {"degrees_of_freedom", wheel.fit.patterns}};
}

}  // namespace

std::string summary_json(const Outcome& outcome) {
    Json json;
    json["contract"] = 1;
    json["version"] = KURBEL_VERSION_STRING;
    json["verdict"] = verdict_sentence(outcome);
    json["judged_but_for"] = in_doubt(outcome) ? Json("tdc1_deg") : Json(nullptr);
    json["cylinders"] = Json::array();
    for (const CylinderLine& line : outcome.table.lines) json["cylinders"].push_back(line_json(line));
    json["codes"] = Json::array();
    const TroubleCodes codes = outcome.tally.codes();
    for (int i = 0; i < codes.count; ++i) json["codes"].push_back(code_text(codes.number[static_cast<std::size_t>(i)]));
    json["warnings"] = warnings(outcome);
    json["load"] = load_json(outcome);
    json["tdc_offset"] = offset_json(outcome.tdc_offset);
    if (outcome.wheel) json["wheel"] = wheel_json(*outcome.wheel);
    json["unjudged"] = unjudged_json(outcome.tally);
    json["firings_without_cylinder"] = outcome.table.unplaced;
    json["sync"] = sync_json(outcome.sync, outcome.found_again_s);
    json["recording"] = {{"seconds", number(outcome.seconds)}, {"mean_rpm", number(outcome.mean_rpm)}};
    json["method"] = method_name(outcome.config.settings.method);
    json["settings"] = {{"false_alarm", outcome.config.settings.false_alarm}};
    json["inputs"] = Json::object();
    for (const auto& [file, hash] : outcome.inputs) json["inputs"][file] = hash;
    return json.dump(2) + "\n";
}

}  // namespace kurbel::command
