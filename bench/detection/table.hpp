// The detection table in Markdown.
#pragma once

#include <cstdio>
#include <string>
#include <vector>

#include "outcome.hpp"

namespace kurbel_detection {

namespace detail {

/// Percent: one decimal from 10 on, two below, three below 0.1.
[[nodiscard]] inline std::string percent(double share) {
    char text[32];
    const double value = 100.0 * share;
    std::snprintf(text, sizeof text, value < 0.1 ? "%.3f" : (value < 10.0 ? "%.2f" : "%.1f"), value);
    return text;
}

/// "0.28 [0.03, 1.00]": percent and its exact 95 % interval; "-" of none.
[[nodiscard]] inline std::string with_interval(const kurbel::Share& share) {
    if (share.of == 0) return "-";
    const kurbel::Interval interval = share.interval();
    return percent(share.rate()) + " [" + percent(interval.low) + ", " + percent(interval.high) + "]";
}

/// All firings without a verdict, of misfires and healthy ones that have an event.
[[nodiscard]] inline kurbel::Share unjudged(const kurbel::Score& score) {
    return {score.missed_unjudged.count + score.healthy_unjudged,
            score.missed.of + score.false_alarms.of + score.healthy_unjudged};
}

}  // namespace detail

[[nodiscard]] inline std::string table_header() {
    return "| cell | healthy | misfires | missed % [95 %] | false alarms % [95 %] | wrong cylinder | unjudged % | "
           "classic "
           "missed % | met |\n"
           "|---|--:|--:|--:|--:|--:|--:|--:|---|\n";
}

/// One line of the table.
[[nodiscard]] inline std::string table_row(const Outcome& outcome) {
    const kurbel::Score& ours = outcome.ours;
    std::string row = "| " + name(outcome.cell);
    const auto add = [&row](const std::string& text) { row += " | " + text; };
    add(std::to_string(ours.false_alarms.of));
    add(std::to_string(ours.missed.of));
    add(detail::with_interval(ours.missed));
    add(detail::with_interval(ours.false_alarms));
    add(std::to_string(ours.wrong_cylinder.count));
    add(detail::percent(detail::unjudged(ours).rate()));
    add(detail::percent(outcome.classic_missed.rate()));
    add(outcome.stalled ? "stalled" : (meets_target(outcome) ? "yes" : "NO"));
    return row + " |\n";
}

/// The line below the table.
[[nodiscard]] inline std::string table_sum(const std::vector<Outcome>& outcomes) {
    std::size_t met = 0;
    std::size_t classic_met = 0;
    kurbel::Share missed;
    kurbel::Share false_alarms;
    kurbel::Share classic;
    for (const Outcome& outcome : outcomes) {
        if (meets_target(outcome)) ++met;
        if (outcome.classic_missed.rate() <= kMostMissed) ++classic_met;
        missed.count += outcome.ours.missed.count;
        missed.of += outcome.ours.missed.of;
        false_alarms.count += outcome.ours.false_alarms.count;
        false_alarms.of += outcome.ours.false_alarms.of;
        classic.count += outcome.classic_missed.count;
        classic.of += outcome.classic_missed.of;
    }
    const std::string of = " of " + std::to_string(outcomes.size());
    return "\nAll cells together: missed " + detail::with_interval(missed) + " %, false alarms " +
           detail::with_interval(false_alarms) + " %, classic missed " + detail::percent(classic.rate()) + " %.\n" +
           std::to_string(met) + of +
           " cells meet missed <= 1 % at false alarms <= 0.1 % (classic at its best threshold: " +
           std::to_string(classic_met) + of + ").\n";
}

}  // namespace kurbel_detection
