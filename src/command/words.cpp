// The verdict in one sentence, and the small words that report and summary share.
#include <algorithm>

#include "command/outcome.hpp"
#include "command/text.hpp"

namespace kurbel::command {

namespace {

/// The line with most misfires; null without lines.
const CylinderLine* worst_line(const CylinderTable& table) {
    const auto worst = std::max_element(table.lines.begin(), table.lines.end(), [](const auto& a, const auto& b) {
        return a.counts.misfires < b.counts.misfires;
    });
    return worst == table.lines.end() ? nullptr : &*worst;
}

/// "3 (24) and 1 (5)": the lines with more than a tenth of the misfires, the worst first, each with its count.
std::string guilty_list(const Outcome& outcome) {
    std::vector<TallyRow> guilty;
    for (const CylinderLine& line : outcome.table.lines)
        if (line.counts.misfires * 10 > outcome.tally.total().misfires) guilty.push_back(line.counts);
    std::stable_sort(guilty.begin(), guilty.end(),
                     [](const TallyRow& a, const TallyRow& b) { return a.misfires > b.misfires; });
    std::vector<std::string> names;
    for (const TallyRow& row : guilty) names.push_back(cylinder_text(row) + " (" + std::to_string(row.misfires) + ")");
    return text::listed(names);
}

std::string nothing_judged(const Outcome& outcome) {
    const TallyRow& total = outcome.tally.total();
    if (total.firings == 0) return "No firing could be seen in this recording, so nothing was judged.";
    if (outcome.tally.unjudged(Reason::cranking) * 2 > total.firings)
        return "The engine was only being cranked: none of its " + counted(total.firings, "firing") +
               " can be judged, and none was called a misfire.";
    return "None of the " + counted(total.firings, "firing") + " in this recording could be judged.";
}

/// What the verdict must not hide: that much of the recording stands behind no judgement.
std::string unjudged_share(const Outcome& outcome) {
    const TallyRow& total = outcome.tally.total();
    const std::int64_t unjudged = total.firings - total.judged;
    if (unjudged * 5 <= total.firings) return "";
    return " " + percent(static_cast<double>(unjudged) / static_cast<double>(total.firings)) +
           " of all firings could not be judged.";
}

std::string no_misfire(const Outcome& outcome) {
    const TallyRow& total = outcome.tally.total();
    return "No misfire in " + counted(total.judged, "judged firing") + " (with 95 % confidence fewer than " +
           percent(rate_interval(total).high) + " of firings misfire).";
}

std::string one_culprit(const CylinderLine& line, bool cam_seen) {
    const TallyRow& counts = line.counts;
    const std::string unknown = counts.cylinder != 0 ? ""
                                : cam_seen           ? " (which of the two the cam signal does not tell)"
                                                     : " (which of the two cannot be told without a cam signal)";
    return "Cylinder " + cylinder_text(counts) + " misfires" + unknown + ": " + std::to_string(counts.misfires) +
           " of " + counted(counts.judged, "judged firing") + " (" + percent(line.rate) + ", 95 % interval " +
           percent_range(line.interval.low, line.interval.high) + ").";
}

}  // namespace

const char* method_name(Method method) noexcept {
    return method == Method::segment_roughness ? "segment-roughness" : "work";
}

std::string cylinder_text(const TallyRow& row) { return text::cylinder_name(row.cylinder, row.candidates); }

std::string code_text(int number) { return format("P%04d", number); }

namespace {

/// The verdict on the judged firings; there is at least one.
std::string judged_sentence(const Outcome& outcome, const CylinderLine* worst) {
    const TallyRow& total = outcome.tally.total();
    if (total.misfires == 0) return no_misfire(outcome);
    const bool one = worst->counts.misfires * 10 > total.misfires * 9;
    if (outcome.tally.codes().count == 0) {
        const std::string where =
            one || total.misfires == 1 ? " on cylinder " + cylinder_text(worst->counts) : std::string();
        return "Hardly any misfire: " + std::to_string(total.misfires) + " in " +
               counted(total.judged, "judged firing") + where + " (" +
               percent(static_cast<double>(total.misfires) / static_cast<double>(total.judged)) +
               "), too few for a trouble code.";
    }
    if (one) return one_culprit(*worst, outcome.cam_edges > 0);
    const std::string list = guilty_list(outcome);
    return "Several cylinders misfire" + (list.empty() ? std::string() : ", above all " + list) + ": " +
           std::to_string(total.misfires) + " misfires in " + counted(total.judged, "judged firing") + " (" +
           percent(static_cast<double>(total.misfires) / static_cast<double>(total.judged)) + ").";
}

}  // namespace

std::string verdict_sentence(const Outcome& outcome) {
    const CylinderLine* worst = worst_line(outcome.table);
    if (outcome.tally.total().judged == 0 || worst == nullptr) return nothing_judged(outcome);
    if (in_doubt(outcome))
        return "Cannot be judged until tdc1_deg is checked, which combustion contradicts: the " +
               counted(outcome.tally.total().misfires, "misfire") + " in " +
               counted(outcome.tally.total().judged, "firing") + " below lean on it.";
    return judged_sentence(outcome, worst) + unjudged_share(outcome);
}

}  // namespace kurbel::command
