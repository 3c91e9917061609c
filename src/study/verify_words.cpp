#include <cmath>

#include "study/verify_outcome.hpp"
#include "text/text.hpp"

namespace kurbel::verify {

using text::counted;
using text::format;
using text::percent;

namespace {

std::string error_text(const Outcome& outcome) {
    return format("(sequential test, %.4g %% error on either side)", 100.0 * outcome.test.plan().error);
}

std::string limit_text(const Outcome& outcome) { return percent(outcome.test.question().limit) + " of its firings"; }

std::string counts_text(const Outcome& outcome) {
    const RepairTest& test = outcome.test;
    return counted(test.decided_misfires(), "misfire") + " in " + counted(test.decided_firings(), "firing") +
           format(", %.0f s", outcome.seconds_to_decision());
}

/// What happened after "gone", and what was not covered.
std::string reservations(const Outcome& outcome) {
    std::string text;
    const RepairTest& test = outcome.test;
    const std::int64_t later = test.misfires() - test.decided_misfires();
    if (later > 0)
        text += " After that " + counted(later, "misfire") + " came in " +
                counted(test.firings() - test.decided_firings(), "firing") + ".";
    if (!outcome.has_before)
        text +=
            " This takes misfires to come one by one: if they came in bursts, give the recording with the fault as "
            "BEFORE.";
    if (outcome.before_missed > 0)
        text += " " + std::to_string(outcome.before_missed) + " of " + std::to_string(outcome.before_misfires) +
                " misfires of BEFORE came under conditions that this recording did not meet (" +
                in_words(outcome.gaps.front()) + (outcome.gaps.size() > 1 ? " and others" : "") + "): run there too.";
    return text;
}

std::string capital(std::string text) {
    if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
    return text;
}

}  // namespace

std::string in_words(const Gap& gap) {
    std::string text = format("%.0f to %.0f rpm", gap.speed_step * SimilarConditions::kSpeed_rpm,
                              (gap.speed_step + 1) * SimilarConditions::kSpeed_rpm);
    if (gap.load_step >= 0)
        text += format(", %.0f to %.0f %% load", 100.0 * gap.load_step * SimilarConditions::kLoad,
                       100.0 * (gap.load_step + 1) * SimilarConditions::kLoad);
    if (gap.warm >= 0) text += gap.warm == 1 ? ", warm" : ", cold";
    return text;
}

std::string sentence(const Outcome& outcome) {
    const RepairTest& test = outcome.test;
    switch (test.state()) {
        case RepairState::gone:
            return capital(outcome.who) + " does not misfire any more: a rate of " + limit_text(outcome) +
                   " or above is ruled out " + error_text(outcome) + " after " + counts_text(outcome) + "." +
                   reservations(outcome);
        case RepairState::remains:
            if (!std::isnan(test.was_gone_s()))
                return capital(outcome.who) +
                       " misfires again: it had passed the test, and then the misfire came back " +
                       error_text(outcome) + ", " + counted(test.misfires(), "misfire") + " in " +
                       counted(test.firings(), "firing") + " in all.";
            return capital(outcome.who) + " still misfires " + error_text(outcome) + ": " + counts_text(outcome) + ".";
        case RepairState::undecided:
            return "Undecided: " + outcome.who + " misfires neither clearly less than " + limit_text(outcome) +
                   " nor clearly as much " + error_text(outcome) + ": " + counts_text(outcome) +
                   ", where the test ends. Record again, or ask for another limit.";
        case RepairState::running: break;
    }
    std::string text = "Undecided: " + counted(test.misfires(), "misfire") + " in " +
                       counted(test.firings(), "firing") + " of " + outcome.who + "; " +
                       counted(test.clean_needed(), "more firing") + " without a misfire";
    if (!std::isnan(test.seconds_needed())) text += format(", about %.0f s,", test.seconds_needed());
    return text + " would rule out a rate of " + limit_text(outcome) + " or above " + error_text(outcome) + ".";
}

std::string table(const Outcome& outcome) {
    const RepairTest& test = outcome.test;
    const SequentialPlan& plan = test.plan();
    std::string text;
    const auto line = [&](const char* what, const std::string& value) {
        text += text::wrapped(format("  %-34s", what) + value, 100, 36) + "\n";
    };
    line("asked",
         format("repaired (%s or less) or not (%s or more)", percent(plan.good).c_str(), percent(plan.bad).c_str()) +
             (test.pair() ? ", of the pair's firings" : ""));
    line("seen", counted(test.misfires(), "misfire") + " in " + counted(test.firings(), "judged firing"));
    if (test.state() != RepairState::running)
        line("the test could have stopped at", format("%.1f s of the recording, after %lld firings", test.decided_s(),
                                                      static_cast<long long>(test.decided_firings())));
    else
        line("until it ends with gone",
             counted(test.clean_needed(), "clean firing") +
                 (std::isnan(test.seconds_needed()) ? "" : format(", about %.0f s", test.seconds_needed())));
    line("rate at most", percent(test.rate_upper()) + " (holds whenever one stops)");
    line("ends undecided after", counted(plan.most, "firing"));
    if (plan.dispersion > 1.0)
        line("misfires cluster",
             format("in BEFORE, by a variance ratio of %.1f: the test is so many times longer", plan.dispersion));
    else
        line("misfires cluster",
             outcome.has_before
                 ? "not beyond chance in BEFORE"
                 : "not known without BEFORE: taken to come one by one; where they come in bursts, \"gone\" is "
                   "said too often");
    std::string covered = std::isnan(outcome.speed.low)
                              ? std::string("unknown speed")
                              : format("%.0f to %.0f rpm", outcome.speed.low, outcome.speed.high);
    if (!std::isnan(outcome.load.low))
        covered += format(", %.0f to %.0f %% load", 100.0 * outcome.load.low, 100.0 * outcome.load.high);
    if (!std::isnan(outcome.coolant.low))
        covered += std::round(outcome.coolant.low) == std::round(outcome.coolant.high)
                       ? format(", coolant %.0f degrees Celsius", outcome.coolant.low)
                       : format(", coolant %.0f to %.0f degrees Celsius", outcome.coolant.low, outcome.coolant.high);
    line("covered (middle 90 %)", covered);
    for (const Gap& gap : outcome.gaps)
        line("not covered", in_words(gap) + ": " + counted(gap.misfires, "misfire") + " in BEFORE");
    if (outcome.has_before && outcome.gaps.empty()) line("not covered", "nothing under which BEFORE misfired");
    return text;
}

}  // namespace kurbel::verify
