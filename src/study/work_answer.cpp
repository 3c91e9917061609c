// Work per cylinder as an answer: sentence, table, evidence.
#include <algorithm>
#include <cmath>

#include "kurbel/study/cautions.hpp"
#include "study/work_words.hpp"
#include "text/json.hpp"
#include "text/text.hpp"

namespace kurbel {

namespace work {

std::string label(const CylinderWork& row) { return text::cylinder_name(row.cylinder, row.candidates); }

}  // namespace work

namespace {

using text::format;
using text::Json;
using text::rounded;
using work::label;

/// Without a phase one of two is meant, and which is not known.
std::string subject(const CylinderWork& row) {
    return (row.cylinder > 0 ? "cylinder " : "one of cylinders ") + label(row);
}

std::string told(const CylinderWork& row) {
    const bool by_others = std::fabs(row.percent) > 0.0 && (row.low > 0.0 || row.high < 0.0);
    const double value = by_others ? row.percent : row.to_partner_percent;
    const double low = by_others ? row.low : row.to_partner_low;
    const double high = by_others ? row.high : row.to_partner_high;
    std::string text = format(
        "%s does %.1f %% %s work than %s (95 %% range %.1f to %.1f)", subject(row).c_str(), std::fabs(value),
        value < 0.0 ? "less" : "more",
        by_others          ? "the mean of the others"
        : row.cylinder > 0 ? ("cylinder " + std::to_string(row.partner) + ", which fires a revolution later,").c_str()
                           : "the other of them, a revolution later,",
        low, high);
    if (row.misfire_rate > 0.0)
        text += format(", misfires in %s of its cycles included", text::percent(row.misfire_rate).c_str());
    return text;
}

std::string sentence(const WorkBalance& balance, const WorkOptions& options) {
    std::string text;
    if (balance.verdict == "uneven") {
        text = "Uneven: ";
        const char* between = "";
        for (const CylinderWork& row : balance.cylinders) {
            if (!row.differs) continue;
            text += between + told(row);
            between = "; ";
        }
        text += ".";
    } else if (balance.verdict == "even") {
        text = format(
            "No cylinder's work is certainly more than %.1f %% from the others; a difference of 10 %% would have "
            "shown.",
            options.limit_percent);
    } else {
        text = format(
            "No difference beyond %.1f %% is certain, but one of 10 %% could hide; record longer, and at more than one "
            "speed.",
            options.limit_percent);
    }
    const bool pairs = balance.cylinders.front().cylinder == 0;
    if (pairs) text += " Without a cam signal the two readings of a pair cannot be told apart by cylinder.";
    return text;
}

std::string table(const WorkBalance& balance) {
    std::string text =
        "           beyond the others,     beyond its partner,    mean work,     scatter,\n"
        "cylinder   %                      %                      J              %                  misfires\n";
    const auto range = [](double value, double low, double high, int places) {
        if (!std::isfinite(value)) return std::string("-");
        return format("%.*f (%.*f to %.*f)", places, value, places, low, places, high);
    };
    for (const CylinderWork& row : balance.cylinders) {
        const std::string partner = row.partner > 0
                                        ? range(row.to_partner_percent, row.to_partner_low, row.to_partner_high, 1)
                                        : std::string("-");
        text += format("%-10s %-22s %-22s %-14s %-18s %s\n", (label(row) + (row.differs ? " *" : "")).c_str(),
                       range(row.percent, row.low, row.high, 1).c_str(), partner.c_str(),
                       range(row.work_j, row.work_low_j, row.work_high_j, 0).c_str(),
                       range(row.scatter_percent, row.scatter_low, row.scatter_high, 1).c_str(),
                       text::percent(row.misfire_rate).c_str());
    }
    if (balance.verdict == "uneven") text += "* differs, by more than the limit\n";
    text += format("\n%s at a mean of %.0f rpm; in brackets 95 %% ranges.",
                   text::counted(balance.cycles, "cycle").c_str(), balance.mean_rpm);
    const bool partners = std::any_of(balance.cylinders.begin(), balance.cylinders.end(),
                                      [](const CylinderWork& row) { return row.partner > 0; });
    text += partners ? "\nPartner: the cylinder that fires one revolution later.\n" : "\n";
    if (balance.wheel_decides)
        text +=
            "Against its partner a cylinder is compared free of the wheel's error; against the others that\n"
            "error, which repeats every revolution, is in the range. Other speeds and loads, or a fuel cut,\n"
            "narrow it.\n";
    if (std::isfinite(balance.mean_work_j))
        text +=
            format("The size of the work rests on load, geometry and inertia as told: %.0f %% (one standard error).\n",
                   100.0 * balance.size_doubt);
    return text +
           "Scatter: cycle to cycle, standard deviation over mean; about 10 % is where drivers feel it\n"
           "(Heywood 1988, sec. 9.4, from memory).\n";
}

Json evidence(const WorkBalance& balance, const WorkOptions& options) {
    Json json;
    json["cylinders"] = Json::array();
    for (const CylinderWork& row : balance.cylinders) {
        Json cylinder;
        text::name_cylinder(cylinder, row.cylinder, row.candidates);
        cylinder["percent"] = rounded(row.percent);
        cylinder["low"] = rounded(row.low);
        cylinder["high"] = rounded(row.high);
        cylinder["work_j"] = rounded(row.work_j);
        cylinder["work_low_j"] = rounded(row.work_low_j);
        cylinder["work_high_j"] = rounded(row.work_high_j);
        cylinder["partner"] = row.partner > 0 ? Json(row.partner) : Json(nullptr);
        cylinder["to_partner_percent"] = rounded(row.to_partner_percent);
        cylinder["to_partner_low"] = rounded(row.to_partner_low);
        cylinder["to_partner_high"] = rounded(row.to_partner_high);
        cylinder["scatter_percent"] = rounded(row.scatter_percent);
        cylinder["scatter_low"] = rounded(row.scatter_low);
        cylinder["scatter_high"] = rounded(row.scatter_high);
        cylinder["misfire_rate"] = rounded(row.misfire_rate);
        cylinder["differs"] = row.differs;
        json["cylinders"].push_back(cylinder);
    }
    json["limit_percent"] = options.limit_percent;
    json["phase"] = balance.phase_known ? "known" : "unknown";
    json["cycles"] = balance.cycles;
    json["mean_rpm"] = rounded(balance.mean_rpm);
    json["mean_load"] = rounded(balance.mean_load);
    json["mean_work_j"] = rounded(balance.mean_work_j);
    json["size_doubt"] = rounded(balance.size_doubt);
    json["wheel_error_in_ranges"] = balance.wheel_decides;
    json["misfit"] = rounded(balance.misfit);
    json["scatter_cycles"] = balance.scatter_cycles;
    return json;
}

}  // namespace

Answer study_work(const read::Recording& recording, const std::string& name, const WorkOptions& options) {
    const WorkBalance balance = measure_work(recording, name, options);
    Answer answer;
    answer.study = "work";
    answer.question = "Do all cylinders do the same work, and how much does each scatter?";
    answer.verdict = balance.verdict;
    answer.sentence = sentence(balance, options);
    answer.table = table(balance);
    answer.evidence = evidence(balance, options).dump();
    answer.cautions = cautions({Caution::running_engine, Caution::hot_exhaust, Caution::carbon_monoxide});
    answer.picture = work::picture(balance, options, answer.sentence);
    return answer;
}

}  // namespace kurbel
