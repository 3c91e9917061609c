// The report on the terminal: verdict, table, codes, what was not judged, what to be careful about.
#include <array>
#include <cmath>

#include "command/outcome.hpp"
#include "command/text.hpp"

namespace kurbel::command {

namespace {

constexpr std::size_t kWidth = 100;

const char* in_words(Reason reason) noexcept {
    switch (reason) {
        case Reason::no_sync:
            return "the wheel was not followed all through it: not yet found, lost, or at an end of the recording";
        case Reason::no_phase: return "it was not known which of the cycle's two revolutions this was";
        case Reason::cranking: return "the starter was turning the engine, or it ran below its running speed";
        case Reason::fuel_cut: return "the fuel was cut on purpose";
        case Reason::low_torque: return "too little torque for a lost combustion to show";
        case Reason::rough_road: return "the road shook the driveline";
        case Reason::transient: return "fuel, load or gear had only just changed";
        case Reason::learning: return "the engine was still being learned";
        case Reason::none: break;
    }
    return "no reason given";
}

std::string table_text(const Outcome& outcome) {
    std::string text = format("%10s %9s %9s %9s %9s   %-20s %s\n", "cylinder", "firings", "judged", "misfires", "rate",
                              "95 % interval", "mean severity");
    for (const CylinderLine& line : outcome.table.lines) {
        const TallyRow& row = line.counts;
        const std::string interval = row.judged == 0 ? "-" : percent_range(line.interval.low, line.interval.high);
        const std::string severity = std::isnan(row.mean_severity()) ? "-" : format("%.2f", row.mean_severity());
        text += format("%10s %9lld %9lld %9lld %9s   %-20s %s\n", cylinder_text(row).c_str(),
                       static_cast<long long>(row.firings), static_cast<long long>(row.judged),
                       static_cast<long long>(row.misfires), percent(line.rate).c_str(), interval.c_str(),
                       severity.c_str());
    }
    text +=
        "Rate: misfires among the judged firings, and the range in which the true rate lies with 95 % confidence\n"
        "(of the counts, widened where verdicts are in doubt; studies give that of the counts alone).\n";
    text += "Severity of a misfire: 1 = no combustion at all, 0 = as much work as a healthy firing does.\n";
    return text;
}

std::string code_meaning(int number) {
    if (number == 300) return "misfires on several cylinders, or on one that cannot be named";
    return "misfires on cylinder " + std::to_string(number - 300);
}

std::string codes_text(const Outcome& outcome) {
    const TroubleCodes codes = outcome.tally.codes();
    if (codes.count == 0)
        return in_doubt(outcome) ? "Trouble codes: not told until tdc1_deg is checked.\n" : "Trouble codes: none.\n";
    std::string text =
        in_doubt(outcome)
            ? "Trouble codes that these misfires would call for, should tdc1_deg prove right:\n"
            : "Trouble codes that these misfires call for (the car's own monitor may have seen other driving):\n";
    for (int i = 0; i < codes.count; ++i) {
        const int number = codes.number[static_cast<std::size_t>(i)];
        text += "  " + code_text(number) + "  " + code_meaning(number) + "\n";
    }
    return text;
}

std::string unjudged_text(const Outcome& outcome) {
    const TallyRow& total = outcome.tally.total();
    const std::int64_t unjudged = total.firings - total.judged;
    if (unjudged == 0)
        return total.firings == 0  ? ""
               : in_doubt(outcome) ? "Every firing has a verdict, and each leans on tdc1_deg.\n"
                                   : "Every firing was judged.\n";
    std::string text = "Not judged: " + std::to_string(unjudged) + " of " + counted(total.firings, "firing") + " (" +
                       percent(static_cast<double>(unjudged) / static_cast<double>(total.firings)) + "), because\n";
    for (int reason = 0; reason < 9; ++reason)
        if (const std::int64_t count = outcome.tally.unjudged(static_cast<Reason>(reason)); count > 0)
            text += format("  %8lld  %s\n", static_cast<long long>(count), in_words(static_cast<Reason>(reason)));
    return text;
}

/// Why the cam did not tell the phase.
std::string no_cam_text(const Outcome& outcome) {
    if (outcome.cam_edges == 0) return "no cam signal was found";
    const std::string edges = counted(outcome.cam_edges, "cam edge");
    if (outcome.config.cam_wheel.edges == 0) return "of its " + edges + " no [cam_wheel] says where they stand";
    return "its " + edges + " do not stand where [cam_wheel] says";
}

std::string phase_text(const Outcome& outcome) {
    switch (outcome.sync.phase) {
        case Phase::cam: return "Cylinders are told apart by the cam signal.";
        case Phase::crank:
            return "Cylinders are told apart by the motion of the crank itself, and no cam confirms it: " +
                   no_cam_text(outcome) + ".";
        case Phase::not_needed: return "A two-stroke engine: one revolution tells the cylinders apart.";
        case Phase::unknown: break;
    }
    return "Which of the cycle's two revolutions is which is not known (" + no_cam_text(outcome) +
           "), so cylinders that fire one revolution apart are named together.";
}

std::string wheel_text(const WheelUse& wheel) {
    switch (same_wheel(wheel.fit)) {
        case SameWheel::same:
            return format(" Teeth were corrected by %s, and it is this wheel: %.3f degrees (rms) are left.",
                          wheel.file.c_str(), wheel.fit.rms_left_deg);
        case SameWheel::other: return " Teeth were corrected by " + wheel.file + ", which is of another wheel.";
        case SameWheel::unsure: break;
    }
    return " Teeth were corrected by " + wheel.file +
           "; whether that is this wheel, the recording is too short or too even to tell.";
}

/// Whether the declared TDC was held against the motion, for silence must not pass for a check.
std::string tdc_text(const Outcome& outcome) {
    const TdcOffset& tdc = outcome.tdc_offset;
    if (outcome.config.engine.strokes != 4) return "Whether tdc1_deg is right is not checked on two-strokes.";
    if (!tdc.known())
        return "Whether tdc1_deg is right could not be checked: this motion does not tell where TDC stands. A "
               "recording "
               "at idle or turned by the starter does.";
    if (in_doubt(outcome)) return "";
    return format(
        "tdc1_deg was checked: combustion fits anything from %.0f degrees before to %.0f after it, and a multiple of "
        "%.3g degrees more or less just as well.",
        std::fmax(-tdc.low_deg, 0.0), std::fmax(tdc.high_deg, 0.0), tdc.period_deg);
}

std::string losses_text(const Outcome& outcome) {
    std::string text = "wheel lost " + counted(outcome.sync.losses, "time");
    if (outcome.sync.losses == 0 || outcome.found_again_s.empty()) return text;
    constexpr std::size_t kShown = 3;
    text += " (found again at ";
    for (std::size_t i = 0; i < outcome.found_again_s.size() && i < kShown; ++i)
        text += format(i == 0 ? "%.2f" : ", %.2f", outcome.found_again_s[i]);
    return text + (outcome.found_again_s.size() > kShown ? " s and later)" : " s)");
}

std::string recording_text(const Outcome& outcome) {
    const SyncState& sync = outcome.sync;
    std::string text =
        format("Recording: %.1f s, %lld revolutions", outcome.seconds, static_cast<long long>(sync.revolutions));
    if (!std::isnan(outcome.mean_rpm)) text += format(", %.0f rpm on average", outcome.mean_rpm);
    text += "; " + counted(sync.edges, "edge") + ": " + std::to_string(sync.missed) + " missing, " +
            std::to_string(sync.extra) + " too many, " + std::to_string(sync.faults) + " at impossible times; " +
            losses_text(outcome) + ".";
    if (outcome.wheel) text += wheel_text(*outcome.wheel);
    text = wrapped(text, kWidth, 0) + "\n" + wrapped(phase_text(outcome), kWidth, 0) + "\n";
    const std::string tdc = tdc_text(outcome);
    return tdc.empty() ? text : text + wrapped(tdc, kWidth, 0) + "\n";
}

/// What can hurt people or machines; nothing where there is no code.
std::string caution_text(const Outcome& outcome) {
    if (outcome.tally.codes().count == 0) return "";
    return wrapped(
               "Caution: unburnt fuel from a misfiring cylinder burns in the exhaust. It can overheat and destroy the "
               "catalyst and set fire to what lies below the car. Avoid load, and stop driving if the warning lamp "
               "flashes. "
               "Ignition parts carry dangerous voltage and fuel rails carry pressure: local rules, the maker's "
               "procedure "
               "and licensed practice come before anything said here.",
               kWidth, 2) +
           "\n";
}

}  // namespace

std::string report_text(const Outcome& outcome) {
    std::string text = wrapped(verdict_sentence(outcome), kWidth, 0) + "\n\n";
    for (const std::string& warning : warnings(outcome)) text += wrapped("Warning: " + warning, kWidth, 2) + "\n\n";
    if (!outcome.table.lines.empty()) text += table_text(outcome) + "\n";
    text += codes_text(outcome) + unjudged_text(outcome);
    if (outcome.table.unplaced > 0 && !outcome.events.empty())
        text += "In no line of the table: " + counted(outcome.table.unplaced, "unjudged firing") +
                " whose cylinder was not yet known.\n";
    text += recording_text(outcome);
    const std::string caution = caution_text(outcome);
    return caution.empty() ? text : text + "\n" + caution;
}

}  // namespace kurbel::command
