#include "study/swap_words.hpp"

#include <algorithm>
#include <cmath>

#include "kurbel/study/binomial.hpp"
#include "text/text.hpp"

namespace kurbel::swap {

using text::format;

const char* word(Story story) noexcept {
    switch (story) {
        case Story::followed: return "followed";
        case Story::stayed: return "stayed";
        case Story::vanished: return "vanished";
        case Story::other: return "other";
        case Story::nothing: break;
    }
    return "nothing";
}

std::string probability_text(double probability) {
    constexpr double kLeast = 0.001;
    if (probability < kLeast) return "< 0.1 %";
    if (probability > 1.0 - kLeast) return "> 99.9 %";
    return text::percent(probability);
}

std::string moves_text(const std::vector<int>& to) {
    std::vector<std::string> parts;
    for (std::size_t c = 1; c < to.size(); ++c)
        if (to[c] != static_cast<int>(c)) parts.push_back(std::to_string(c) + " to " + std::to_string(to[c]));
    return text::listed(parts);
}

namespace {

double share(const FiringRecord& record) {
    return record.firings() > 0 ? static_cast<double>(record.misfires()) / static_cast<double>(record.firings())
                                : kUnknown;
}

std::string of(const FiringRecord& record) {
    return std::to_string(record.misfires()) + " of " + std::to_string(record.firings());
}

/// "cylinder 4", "cylinders 2 and 3" for the rows of a set.
std::string cylinders_of(const Case& given, std::uint32_t set) {
    std::vector<std::string> names;
    for (std::size_t r = 0; r < given.rows.size(); ++r)
        if ((set >> r & 1U) != 0) names.push_back(given.rows[r].label());
    return (names.size() == 1 ? "cylinder " : "cylinders ") + text::listed(names);
}

/// The likeliest explanation of a story; null where none weighs anything.
const Explanation* best(const Posterior& posterior, Story story) {
    const Explanation* found = nullptr;
    double most = 0.0;
    for (const Weighed& one : posterior.explanations)
        if (one.what.story == story && one.weight > most) {
            found = &one.what;
            most = one.weight;
        }
    return found;
}

std::uint32_t moved_rows(const Case& given) {
    std::uint32_t set = 0;
    for (std::size_t r = 0; r < given.rows.size(); ++r)
        if (given.rows[r].moved) set |= 1U << r;
    return set;
}

/// "cylinder 4 lost 54 of 390 firings before and 1 of 402 after"
std::string counts_of(const Case& given, std::uint32_t set) {
    std::vector<std::string> parts;
    for (std::size_t r = 0; r < given.rows.size(); ++r)
        if ((set >> r & 1U) != 0)
            parts.push_back("cylinder " + given.rows[r].label() + " lost " + of(given.rows[r].before) +
                            " firings before and " + of(given.rows[r].after) + " after");
    return text::listed(parts);
}

std::uint32_t target_set(const Case& given, std::uint32_t set, int map) {
    std::uint32_t after = 0;
    for (std::size_t r = 0; r < given.rows.size(); ++r)
        if ((set >> r & 1U) != 0) after |= 1U << given.targets[static_cast<std::size_t>(std::max(map, 0))][r];
    return after;
}

std::string followed_sentence(const Outcome& outcome, const Explanation& told) {
    const std::uint32_t from = told.faulty & moved_rows(outcome.given);
    const std::uint32_t to = target_set(outcome.given, from, told.map);
    return "The misfire followed the part from " + cylinders_of(outcome.given, from) + " to " +
           cylinders_of(outcome.given, to) + ": " + counts_of(outcome.given, from | to) +
           ". The part that was moved is at fault.";
}

std::string stayed_sentence(const Outcome& outcome, const Explanation& told) {
    const std::uint32_t from = told.faulty & moved_rows(outcome.given);
    return "The misfire stayed with " + cylinders_of(outcome.given, from) + ": " + counts_of(outcome.given, from) +
           ". The part that was moved is not the cause; what stayed with the cylinder is (wiring, compression, valves, "
           "another part).";
}

std::string vanished_sentence(const Outcome& outcome, const Explanation& told) {
    return "The misfire vanished: " + counts_of(outcome.given, told.faulty) +
           ", and no other cylinder has it. The work itself may have mended a contact or connector: check those, and "
           "watch whether it comes back.";
}

std::string other_sentence(const Outcome& outcome, const Explanation& told) {
    const std::uint32_t moved = moved_rows(outcome.given);
    std::uint32_t shown = told.faulty;
    for (std::size_t r = 0; r < outcome.given.rows.size(); ++r)
        if (share(outcome.given.rows[r].after) > 0.005 && outcome.given.rows[r].after.misfires() > 2) shown |= 1U << r;
    if (!told.free && (told.faulty & moved) == 0)
        return "The misfire is on " + cylinders_of(outcome.given, told.faulty) +
               ", whose part was not moved, so this exchange says nothing about it: " +
               counts_of(outcome.given, told.faulty) + ". Move a part of that cylinder.";
    return "No single moved part explains what changed: " + counts_of(outcome.given, shown) +
           ". Look for a second fault, or for something that the work disturbed.";
}

std::string undecided_sentence(const Outcome& outcome) {
    const Posterior& p = outcome.posterior;
    constexpr double kLikely = 0.5;
    if (p.of(Story::nothing) > kLikely)
        return "Undecided: BEFORE shows no misfire beyond what a healthy engine is wrongly accused of, so there was "
               "nothing to follow. Record BEFORE under the conditions in which it misfires.";
    std::vector<Story> stories{Story::followed, Story::stayed, Story::vanished, Story::other};
    std::sort(stories.begin(), stories.end(), [&](Story a, Story b) { return p.of(a) > p.of(b); });
    std::string text = "Undecided: " + std::string(word(stories[0])) + " has a probability of " +
                       probability_text(p.of(stories[0])) + ", " + word(stories[1]) + " " +
                       probability_text(p.of(stories[1])) + ".";
    const bool both = (stories[0] == Story::followed && stories[1] == Story::stayed) ||
                      (stories[0] == Story::stayed && stories[1] == Story::followed);
    if (both && outcome.given.paired && p.of(stories[1]) > 0.3)
        return text +
               " Without a cam signal the two cylinders cannot be told apart; record the cam signal, or exchange "
               "with a cylinder that fires at another time of the revolution.";
    if (!std::isnan(outcome.more_seconds))
        return text + format(" %.0f s more of AFTER at this operating point would decide it with a chance of 80 %%.",
                             std::ceil(outcome.more_seconds));
    if (outcome.forecast_made)
        return text + " More of AFTER alone would hardly decide it (chance " + text::percent(outcome.chance) +
               "): put the parts back, record BEFORE for longer, and exchange them again.";
    return text;
}

}  // namespace

std::string sentence(const Outcome& outcome) {
    for (const Story story : {Story::followed, Story::stayed, Story::vanished, Story::other}) {
        const Explanation* told = best(outcome.posterior, story);
        if (outcome.verdict != word(story) || told == nullptr) continue;
        switch (story) {
            case Story::followed: return followed_sentence(outcome, *told);
            case Story::stayed: return stayed_sentence(outcome, *told);
            case Story::vanished: return vanished_sentence(outcome, *told);
            default: return other_sentence(outcome, *told);
        }
    }
    return undecided_sentence(outcome);
}

std::string table(const Outcome& outcome) {
    std::string text = format("%10s  %-12s %-28s %-28s\n", "cylinder", "part", "before: lost, 95 % interval",
                              "after: lost, 95 % interval");
    const auto cell = [](const FiringRecord& record) {
        const Interval range = exact_interval(record.misfires(), record.firings());
        return of(record) + ", " + text::percent_range(range.low, range.high);
    };
    for (const Row& row : outcome.given.rows) {
        std::string part = "not moved";
        for (const int c : row.cylinder)
            if (c > 0 && outcome.to[static_cast<std::size_t>(c)] != c)
                part = "to " + std::to_string(outcome.to[static_cast<std::size_t>(c)]);
        text += format("%10s  %-12s %-28s %-28s\n", row.label().c_str(), part.c_str(), cell(row.before).c_str(),
                       cell(row.after).c_str());
    }
    text += "\nProbability of each explanation (followed and stayed need " + text::percent(outcome.decide) +
            ", the others " + text::percent(1.0 - (1.0 - outcome.decide) * 5.0 / 3.0) + ")\n";
    for (const Story story : {Story::followed, Story::stayed, Story::vanished, Story::other})
        text += format("  %-10s %s\n", word(story), probability_text(outcome.posterior.of(story)).c_str());
    if (outcome.posterior.of(Story::nothing) > 1e-4)
        text += format("  %-10s %s\n", "no fault", probability_text(outcome.posterior.of(Story::nothing)).c_str());
    const CommonFirings& common = outcome.given.common;
    text += "\n" +
            text::wrapped("Compared: " + std::to_string(common.kept_before) + " of " +
                              std::to_string(outcome.given.point_before.judged) + " judged firings before (" +
                              in_words(outcome.given.point_before) + ") and " + std::to_string(common.kept_after) +
                              " of " + std::to_string(outcome.given.point_after.judged) + " after (" +
                              in_words(outcome.given.point_after) + "): those within 375 rpm" +
                              (common.load_known ? ", 20 % load" : "") +
                              (common.temperature_known ? " and the warm-up state" : "") + " of the other side." +
                              (common.load_known ? "" : " Load was not recorded on both sides.") +
                              (common.temperature_known ? "" : " Coolant temperature was not recorded on both sides."),
                          100, 0) +
            "\n";
    if (outcome.given.paired) text += "The phase is unknown: cylinders that fire one revolution apart share a row.\n";
    return text;
}

}  // namespace kurbel::swap
