// The answer of the study of patterns: sentence, table, evidence.
#include <algorithm>
#include <cmath>

#include "kurbel/study/cautions.hpp"
#include "study/doubtful_tdc.hpp"
#include "study/pattern_rows.hpp"
#include "text/json.hpp"
#include "text/text.hpp"

namespace kurbel {

namespace study {

using text::format;

std::string row_name(const PatternRow& row) {
    if (row.cylinder > 0) return "cylinder " + std::to_string(row.cylinder);
    if (row.all()) return "all cylinders";
    if (row.candidates[1] == 0) return "cylinder " + std::to_string(row.candidates[0]);
    return "one of cylinders " + std::to_string(std::min(row.candidates[0], row.candidates[1])) + " and " +
           std::to_string(std::max(row.candidates[0], row.candidates[1]));
}

std::string range_text(Condition condition, double low, double high) {
    switch (condition) {
        case Condition::speed: return format("%.0f to %.0f rpm", low, high);
        case Condition::load: return format("load %.2f to %.2f", low, high);
        case Condition::coolant: return format("%.0f to %.0f degrees C", low, high);
        case Condition::time: break;
    }
    return format("%.0f to %.0f s", low, high);
}

}  // namespace study

namespace {

using study::kFewestTested;
using study::range_text;
using study::row_name;
using text::format;
using text::Json;
using text::number;
using text::percent;
using text::percent_range;

std::string condition_words(Condition condition, bool since_start) {
    switch (condition) {
        case Condition::speed: return "speed";
        case Condition::load: return "load";
        case Condition::coolant: return "coolant temperature";
        case Condition::time: break;
    }
    return since_start ? "time since the start" : "time";
}

std::string joined(const std::vector<std::string>& words, const char* last) {
    std::string text;
    for (std::size_t i = 0; i < words.size(); ++i)
        text += (i == 0 ? "" : i + 1 == words.size() ? last : ", ") + words[i];
    return text;
}

std::string kind_words(const PatternRow& row) {
    switch (row.kind) {
        case PatternKind::none: return "no more misfires than false alarms explain";
        case PatternKind::random: return "at random";
        case PatternKind::bursts: return format("in bursts of %.1f on average", row.mean_burst);
        case PatternKind::periodic: return format("every %d firings", row.period);
        case PatternKind::continuous: return "all the time";
        case PatternKind::undecided: break;
    }
    return "too few to tell how they follow one another";
}

std::string capital(std::string text) {
    if (!text.empty()) text[0] = static_cast<char>(text[0] >= 'a' && text[0] <= 'z' ? text[0] - 'a' + 'A' : text[0]);
    return text;
}

std::string who_and_how(const PatternRow& row) {
    if (row.kind == PatternKind::none) return "No cylinder misfires more often than false alarms explain";
    std::string text = capital(row_name(row)) + " misfires ";
    const std::string rate = percent(row.rate()) + " of " + text::counted(row.judged, "judged firing");
    if (row.kind == PatternKind::undecided)
        return text + "(" + rate + "), too rarely so far to tell chance from bursts";
    return text + kind_words(row) + " (" + rate + ")";
}

std::string effect_words(const ConditionEffect& effect, bool since_start) {
    const std::string what = condition_words(effect.condition, since_start);
    const ConditionCell& top = effect.cells[static_cast<std::size_t>(effect.top)];
    std::string text = effect.lean == Lean::peaks
                           ? "most at "
                           : "the rate " + std::string(name(effect.lean)) + " with " + what + ", most at ";
    text += range_text(effect.condition, top.low, top.high);
    return text + format(" (%.2g times the rate elsewhere, 95 %% interval %.2g to %.2g)", effect.ratio,
                         effect.ratio_low, effect.ratio_high);
}

/// Conditions that were tested without a finding, and those that could not be.
std::string other_conditions(const PatternRow& row, bool since_start) {
    std::vector<std::string> quiet;
    std::vector<std::string> still;
    for (const ConditionEffect& effect : row.conditions) {
        if (effect.matters()) continue;
        const std::string what = condition_words(effect.condition, since_start);
        if (effect.varied && !std::isnan(effect.p)) quiet.push_back(what);
        if (!effect.varied && effect.condition != Condition::time) still.push_back(what);
    }
    std::string text;
    if (!quiet.empty()) text += "; no dependence on " + joined(quiet, " or ") + " showed";
    if (!still.empty())
        text += "; " + joined(still, " and ") + (still.size() > 1 ? " were" : " was") +
                " not seen to change enough to compare";
    return text;
}

std::string sentence_of(const Pattern& pattern) {
    const PatternRow& row = pattern.rows[static_cast<std::size_t>(pattern.worst)];
    std::string text = who_and_how(row);
    if (row.kind == PatternKind::none) {
        const Interval total = exact_interval(row.misfires, row.judged);
        return text + " (at most " + percent(total.high) + " of the firings of any one, with 95 % confidence).";
    }
    for (const ConditionEffect& effect : row.conditions)
        if (effect.matters()) text += "; " + effect_words(effect, pattern.since_start);
    const auto tied = [](const ConditionEffect& effect) { return effect.matters() && effect.p_alone > study::kStill; };
    if (std::count_if(row.conditions.begin(), row.conditions.end(), tied) > 1)
        text += "; these moved together, so which of them it is cannot be told";
    return text + other_conditions(row, pattern.since_start) + ".";
}

std::string rows_table(const Pattern& pattern) {
    std::string text =
        format("%-26s %8s %9s %7s   %-16s %s\n", "", "judged", "misfires", "rate", "95 % interval", "pattern");
    for (const PatternRow& row : pattern.rows)
        text += format("%-26s %8lld %9lld %7s   %-16s %s\n", row_name(row).c_str(), static_cast<long long>(row.judged),
                       static_cast<long long>(row.misfires), percent(row.rate()).c_str(),
                       percent_range(row.interval.low, row.interval.high).c_str(),
                       row.all()                       ? ""
                       : row.kind == PatternKind::none ? "none"
                                                       : kind_words(row).c_str());
    text +=
        "95 % interval: of these counts, wider where misfires cluster; kurbel analyze widens its own by verdicts in "
        "doubt.\n";
    return text;
}

std::string cells_table(const Pattern& pattern) {
    const PatternRow& row = pattern.rows[static_cast<std::size_t>(pattern.worst)];
    std::string text;
    for (const ConditionEffect& effect : row.conditions) {
        const std::string what = condition_words(effect.condition, pattern.since_start);
        if (!effect.known) {
            text += "\n" + capital(what) +
                    (effect.condition == Condition::time ? ": not compared between recordings\n" : ": not measured\n");
            continue;
        }
        if (!effect.varied) {
            text += "\n" + capital(what) + ": " + range_text(effect.condition, effect.lowest, effect.highest) +
                    ", too little change to compare\n";
            continue;
        }
        text += "\n" + capital(what) + ", " + row_name(row);
        if (!std::isnan(effect.p))
            text += format(": %s (p = %.2g, for all tests together %.2g)",
                           effect.matters() ? "matters" : "no dependence shown", effect.p, effect.p_adjusted);
        text += "\n";
        for (const ConditionCell& cell : effect.cells)
            text += format("  %-24s %8lld %9lld %7s   %s\n", range_text(effect.condition, cell.low, cell.high).c_str(),
                           static_cast<long long>(cell.judged), static_cast<long long>(cell.misfires),
                           percent(cell.rate).c_str(), percent_range(cell.interval.low, cell.interval.high).c_str());
    }
    return text;
}

std::string advice_table(const Pattern& pattern) {
    std::string text;
    if (!pattern.causes.empty()) text += "\nSuch a pattern is common for (common practice, no source):\n";
    for (const CommonCause& cause : pattern.causes)
        text += text::wrapped("- " + cause.pattern + ": " + cause.causes, 100, 2) + "\n";
    if (!pattern.next.empty()) text += "\nWhat would separate the causes:\n";
    for (const NextMeasurement& next : pattern.next)
        text += text::wrapped("- " + next.what + ": " + next.why + ".", 100, 2) + "\n";
    return text;
}

Json identity(const PatternRow& row) {
    Json json;
    json["cylinder"] = row.cylinder > 0 ? Json(row.cylinder) : Json(nullptr);
    if (row.cylinder == 0 && !row.all()) {
        json["candidates"] = {row.candidates[0], row.candidates[1]};
        json["half"] = row.half;
    }
    if (row.all()) json["all"] = true;
    return json;
}

Json row_json(const PatternRow& row) {
    Json json = identity(row);
    json["judged"] = row.judged;
    json["misfires"] = row.misfires;
    json["rate"] = number(row.rate());
    json["rate_low"] = number(row.interval.low);
    json["rate_high"] = number(row.interval.high);
    json["dispersion"] = row.dispersion;
    if (row.all()) return json;
    json["kind"] = name(row.kind);
    json["runs"] = row.runs.runs;
    json["runs_expected"] = number(row.runs.expected);
    json["p_bursts"] = number(row.p_bursts);
    json["mean_burst"] = number(row.mean_burst);
    json["p_periodic"] = number(row.p_periodic);
    json["period_firings"] = row.period > 0 ? Json(row.period) : Json(nullptr);
    json["misfires_needed"] = row.misfires_needed > 0 ? Json(row.misfires_needed) : Json(nullptr);
    json["p_together"] = number(row.p_together);
    json["together_ratio"] = number(row.together_ratio);
    return json;
}

Json effect_json(const PatternRow& row, const ConditionEffect& effect) {
    Json json = identity(row);
    json["condition"] = name(effect.condition);
    json["covered_low"] = number(effect.lowest);
    json["covered_high"] = number(effect.highest);
    json["varied"] = effect.varied;
    json["p"] = number(effect.p);
    json["p_adjusted"] = number(effect.p_adjusted);
    json["p_alone"] = number(effect.p_alone);
    json["lean"] = name(effect.lean);
    json["ratio"] = number(effect.ratio);
    json["ratio_low"] = number(effect.ratio_low);
    json["ratio_high"] = number(effect.ratio_high);
    return json;
}

std::string evidence_of(const Pattern& pattern, const std::vector<JudgedRecording>& recordings) {
    Json json;
    json["recordings"] = Json::array();
    for (const JudgedRecording& recording : recordings) json["recordings"].push_back(recording.name);
    json["seconds"] = number(pattern.seconds);
    json["mean_rpm"] = number(pattern.mean_rpm);
    json["time_counts_from"] = pattern.since_start ? "start" : "recording";
    for (const char* list : {"cylinders", "conditions", "ranges", "common_for", "next"}) json[list] = Json::array();
    for (const PatternRow& row : pattern.rows) {
        json["cylinders"].push_back(row_json(row));
        const bool worst = &row == &pattern.rows[static_cast<std::size_t>(pattern.worst)];
        if (row.misfires < kFewestTested && !(worst && row.misfires > 0)) continue;
        for (const ConditionEffect& effect : row.conditions) {
            json["conditions"].push_back(effect_json(row, effect));
            for (const ConditionCell& cell : effect.cells) {
                Json range = identity(row);
                range["condition"] = name(effect.condition);
                range["from"] = cell.low;
                range["to"] = cell.high;
                range["judged"] = cell.judged;
                range["misfires"] = cell.misfires;
                range["rate"] = number(cell.rate);
                range["rate_low"] = number(cell.interval.low);
                range["rate_high"] = number(cell.interval.high);
                json["ranges"].push_back(range);
            }
        }
    }
    for (const CommonCause& cause : pattern.causes)
        json["common_for"].push_back(
            {{"pattern", cause.pattern}, {"causes", cause.causes}, {"basis", "common practice, no source"}});
    for (const NextMeasurement& next : pattern.next)
        json["next"].push_back({{"what", next.what}, {"why", next.why}, {"seconds", number(next.seconds)}});
    return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace

Answer pattern(const std::vector<JudgedRecording>& recordings) {
    std::vector<const JudgedRecording*> all;
    for (const JudgedRecording& recording : recordings) all.push_back(&recording);
    refuse_repeats(all);
    const Pattern found = find_pattern(recordings);
    const PatternRow& worst = found.rows[static_cast<std::size_t>(found.worst)];
    Answer answer;
    answer.study = "pattern";
    answer.question = "Where and when does the engine misfire?";
    const std::string doubt = doubtful_tdc({&recordings});
    answer.verdict = name(doubt.empty() ? worst.kind : PatternKind::undecided);
    answer.sentence = doubt.empty() ? sentence_of(found) : doubt;
    answer.table = rows_table(found) + cells_table(found) + advice_table(found);
    answer.evidence = evidence_of(found, recordings);
    // The next measurement runs the engine, on the road perhaps; nothing is opened for it.
    if (worst.kind != PatternKind::none)
        answer.cautions = cautions({Caution::unburnt_fuel, Caution::running_engine, Caution::carbon_monoxide});
    answer.picture = study::pattern_picture(found, recordings);
    return answer;
}

}  // namespace kurbel
