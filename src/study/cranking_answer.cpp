// Relative compression as an answer: sentence, table, evidence.
#include <algorithm>
#include <cmath>

#include "kurbel/study/cautions.hpp"
#include "study/cranking_words.hpp"
#include "text/json.hpp"
#include "text/text.hpp"

namespace kurbel {

namespace cranking {

std::string label(const CylinderCompression& reading) {
    return text::cylinder_name(reading.cylinder, reading.candidates);
}

}  // namespace cranking

namespace {

using cranking::label;
using text::format;
using text::Json;
using text::rounded;

const CylinderCompression& lowest(const RelativeCompression& result) {
    return *std::min_element(result.cylinders.begin(), result.cylinders.end(),
                             [](const auto& a, const auto& b) { return a.percent < b.percent; });
}

/// What kind of loss it is, where the rebound tells.
std::string kind(const CylinderCompression& reading) {
    const double missing = 100.0 - reading.percent;
    if (missing < 5.0) return "";
    if (reading.leak_low > 0.3 * missing) return "it gives back less work than it took: gas escapes";
    if (reading.leak_high < 0.5 * missing) return "it gives back what it took: it fills less";
    return "";
}

std::string sentence(const RelativeCompression& result, const CrankingOptions& options) {
    const CylinderCompression& low = lowest(result);
    std::string text;
    if (result.verdict == "even") {
        text = format(
            "All cylinders hold within %.0f %% of the best one's pressure at TDC; the lowest, cylinder %s, "
            "holds %.0f %% (%.0f to %.0f).",
            options.limit_percent, label(low).c_str(), low.percent, low.low, low.high);
    } else if (result.verdict == "uneven") {
        text = "Below the others:";
        const char* between = " ";
        for (const CylinderCompression& reading : result.cylinders) {
            if (!reading.below) continue;
            const std::string why = kind(reading);
            text += between + format("cylinder %s with %.0f %% (%.0f to %.0f) of the best one's pressure at TDC",
                                     label(reading).c_str(), reading.percent, reading.low, reading.high);
            if (!why.empty()) text += ", and " + why;
            between = "; ";
        }
        text += ".";
    } else {
        text = format(
            "Cylinder %s holds %.0f %% (%.0f to %.0f) of the best one's pressure at TDC, too near the limit of "
            "%.0f %% to call.",
            label(low).c_str(), low.percent, low.low, low.high, 100.0 - options.limit_percent);
    }
    const bool pairs = std::any_of(result.cylinders.begin(), result.cylinders.end(),
                                   [](const auto& reading) { return reading.cylinder == 0; });
    if (pairs) text += " Without a cam signal the two readings of a pair cannot be told apart by cylinder.";
    if (result.engine_started) text += " Only the part before the engine started was used.";
    return text;
}

std::string table(const RelativeCompression& result, const CrankingOptions& options) {
    std::string text =
        "cylinder   % of best   95 % range    filling   gas lost by TDC (% of charge, over the tightest)\n";
    for (const CylinderCompression& reading : result.cylinders)
        text += format("%-8s   %9.1f   %5.1f - %5.1f   %6.0f   %5.1f (%.1f - %.1f)%s\n", label(reading).c_str(),
                       reading.percent, reading.low, reading.high, reading.filling_percent, reading.leak_percent,
                       reading.leak_low, reading.leak_high, reading.below ? "   below the limit" : "");
    text += format("\n%s at a mean of %.0f rpm, from %.1f to %.1f s; limit: %.0f %% of the best cylinder.\n",
                   text::counted(result.cycles, "engine cycle").c_str(), result.mean_rpm, result.begin_s, result.end_s,
                   100.0 - options.limit_percent);
    text +=
        "Relative only: wear that all cylinders share does not show; a pressure gauge tells that.\n"
        "Usual (common practice, no source): within 10 % good, lowest at least 75 % of the highest acceptable,\n"
        "20 to 25 % apart suspect.\n";
    return text;
}

Json evidence(const RelativeCompression& result, const CrankingOptions& options) {
    Json json;
    json["cylinders"] = Json::array();
    for (const CylinderCompression& reading : result.cylinders) {
        Json row;
        text::name_cylinder(row, reading.cylinder, reading.candidates);
        row["percent"] = rounded(reading.percent);
        row["low"] = rounded(reading.low);
        row["high"] = rounded(reading.high);
        row["filling_percent"] = rounded(reading.filling_percent);
        row["leak_percent"] = rounded(reading.leak_percent);
        row["leak_low"] = rounded(reading.leak_low);
        row["leak_high"] = rounded(reading.leak_high);
        row["tdc_bar"] = rounded(reading.tdc_bar);
        row["below_limit"] = reading.below;
        json["cylinders"].push_back(row);
    }
    json["limit_percent"] = options.limit_percent;
    json["phase"] = result.phase_known ? "known" : "unknown";
    json["cycles"] = result.cycles;
    json["cycles_left_out"] = result.cycles_left;
    json["begin_s"] = rounded(result.begin_s);
    json["end_s"] = rounded(result.end_s);
    json["mean_rpm"] = rounded(result.mean_rpm);
    json["engine_started"] = result.engine_started;
    json["polytropic_exponent"] = rounded(result.exponent);
    json["tdc_offset_deg"] = rounded(result.tdc_offset_deg);
    json["model_scatter"] = std::isfinite(result.scatter) ? Json(result.scatter) : Json(nullptr);
    json["equal_wear"] = "invisible: all figures are relative to the best cylinder";
    json["usual"] =
        "within 10 % good, lowest at least 75 % of the highest acceptable, 20 to 25 % apart suspect "
        "(common practice, no source)";
    return json;
}

}  // namespace

Answer study_cranking(const read::Recording& recording, const std::string& name, const CrankingOptions& options) {
    const RelativeCompression result = measure_compression(recording, name, options);
    Answer answer;
    answer.study = "cranking";
    answer.question = "Do all cylinders compress alike when the starter alone turns the engine?";
    answer.verdict = result.verdict;
    answer.sentence = sentence(result, options);
    answer.table = table(result, options);
    answer.evidence = evidence(result, options).dump();
    answer.cautions = cautions(
        {Caution::before_cranking, Caution::running_engine, Caution::ignition_voltage, Caution::long_cranking});
    answer.picture = cranking::picture(result, options, answer.sentence);
    return answer;
}

}  // namespace kurbel
