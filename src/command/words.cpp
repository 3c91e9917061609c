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

/// "3, 5 and 6": the lines with more than a tenth of the misfires.
std::string guilty_list(const Outcome& outcome) {
    std::vector<std::string> names;
    for (const CylinderLine& line : outcome.table.lines)
        if (line.counts.misfires * 10 > outcome.tally.total().misfires) names.push_back(cylinder_text(line.counts));
    std::string text;
    for (std::size_t i = 0; i < names.size(); ++i)
        text += (i == 0 ? "" : i + 1 == names.size() ? " and " : ", ") + names[i];
    return text;
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
           percent(exact_interval(0, total.judged).high) + " of firings misfire).";
}

std::string one_culprit(const CylinderLine& line) {
    const TallyRow& counts = line.counts;
    const std::string unknown = counts.cylinder == 0 ? " (which of the two cannot be told without a cam signal)" : "";
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
    if (one) return one_culprit(*worst);
    const std::string list = guilty_list(outcome);
    return "Several cylinders misfire" + (list.empty() ? std::string() : ", above all " + list) + ": " +
           std::to_string(total.misfires) + " misfires in " + counted(total.judged, "judged firing") + " (" +
           percent(static_cast<double>(total.misfires) / static_cast<double>(total.judged)) + ").";
}

}  // namespace

std::string verdict_sentence(const Outcome& outcome) {
    const CylinderLine* worst = worst_line(outcome.table);
    if (outcome.tally.total().judged == 0 || worst == nullptr) return nothing_judged(outcome);
    return judged_sentence(outcome, worst) + unjudged_share(outcome);
}

}  // namespace kurbel::command
