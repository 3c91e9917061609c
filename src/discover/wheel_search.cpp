#include "discover/wheel_search.hpp"

#include <algorithm>
#include <cmath>
#include <string>

#include "discover/base_period.hpp"
#include "discover/plain_wheel.hpp"
#include "discover/rounds.hpp"
#include "discover/turn_multiple.hpp"

namespace kurbel::discover {

namespace {

/// A revolution of `times` laps; the pattern is known.
Fold turns_of(const std::vector<double>& edge_s, const Fold& fold, int times) {
    if (times == 1) return fold;
    Fold connected = fold;
    connected.laps = longest_section(fold);
    return joined(edge_s, connected, times, 0);
}

/// Laps of a wheel whose pattern shows by itself.
WheelSearch shaped_wheel(const Lines& lines, const Fold& fold, const MarkLap& marks, const Recurrence& base) {
    WheelSearch search;
    const ToothPattern one = read_pattern(lines.crank_s, fold);
    const bool gap = has_gap(one);
    double confidence = 0.999;
    std::string why = gap ? "The same gap comes back after every " + std::to_string(fold.edges) + " edges."
                          : "The same uneven spacing comes back after every " + std::to_string(fold.edges) + " edges.";
    std::string raise;
    int times = 1;
    const bool by_marks = marks.marks > 0 && std::abs(marks.edges - 4 * fold.edges) <= 1;
    if (by_marks) {
        times = 2;
        why += " Four of them lie between two marks of the second line, which are two revolutions.";
    } else if (gap && fold.edges >= kShortWaves) {
        const HalvesFinding halves = compare_halves(lines.crank_s, fold, ideal_log_intervals(fold));
        if (halves.halves == Halves::different) {
            times = 2;
            why +=
                " The small errors of the teeth come back after twice as many: a revolution holds the pattern twice.";
        } else if (halves.halves == Halves::untold) {
            confidence = 0.97;
            raise = "Count the teeth: a revolution could hold the pattern twice.";
        }
    }
    const bool settled = by_marks || marks.edges == 2 * fold.edges;
    const RoundsFinding rounds = gap || settled ? RoundsFinding{} : rounds_of(lines.crank_s, fold, one);
    const std::string twice = "The spacing comes back after every " + std::to_string(2 * fold.edges) + " edges; ";
    if (rounds.rounds == Rounds::parts) {
        times = 2;
        why =
            twice + (rounds.by_cycle
                         ? "every second such round differs from its neighbours, and an engine comes back after two "
                           "revolutions."
                         : "after half as many it differs by the same degrees at every speed, as an engine does not.");
        if (rounds.at_odds) {
            confidence = std::min(confidence, 0.8);
            raise = "Count the teeth: rounds differ as those of two wheels would, but less at higher speed.";
        }
    } else if (rounds.too_far_deg > 0.0) {
        times = 2;
        why = twice + "after half as many teeth stand off by " + std::to_string(std::lround(rounds.too_far_deg)) +
              " degrees, farther than an engine at this speed could make it seem.";
        // Rounds that are nearly alike may as well be parts of a longer one.
        confidence = std::min(confidence, 0.8);
        raise = "Record a change of speed, or count the teeth.";
    }
    search.turns = turns_of(lines.crank_s, fold, times);
    if (times > 1 && !gap) {
        // Uneven teeth tell by themselves where a revolution begins, wherever the laps were interrupted.
        Fold anew = fold_by_pattern(lines.crank_s, times * fold.edges);
        if (anew.laps.size() > search.turns.laps.size()) search.turns = std::move(anew);
    }
    describe(lines.crank_s, search);
    if (search.pattern.doubtful) {
        confidence = std::min(confidence, 0.85);
        raise =
            "Look at the wheel: the widest gap does not measure a whole number of pitches. A magnetic sensor shifts "
            "the "
            "teeth beside a gap; a tooth may stand there unseen.";
    }
    // Vanes at random stand so near to whole places in one of some thirty wheels.
    if (search.pattern.perhaps_vanes && search.pattern.positions > 0) {
        confidence = std::min(confidence, 0.95);
        raise =
            "Record a change of speed: it tells whether the teeth stand unevenly or the engine's swing makes it seem "
            "so.";
    }
    constexpr double kToleratedSwing_deg = 3.0;
    if (search.pattern.swing_deg > kToleratedSwing_deg) {
        confidence = std::min(confidence, 0.8);
        raise =
            "Record at a higher steady speed: between so few teeth the engine's own swing of speed moves the angles by "
            "some "
            "degrees.";
    }
    const bool fine = fold.edges >= kShortWaves && !alternates_roughly(lines.crank_s, fold);
    const bool open = !gap && !settled && times == 1 && !fine;
    if (open && base.doubled && may_be_two(lines.crank_s, fold, one)) {
        confidence = std::min(confidence, 0.8);
        raise = "Count the teeth: half of the pattern comes back nearly alike, so a revolution may hold " +
                std::to_string(fold.edges / 2) + " of them.";
    }
    if (open && (base.doubtful || rounds.doubtful) && rounds.rounds != Rounds::whole) {
        confidence = std::min(confidence, 0.8);
        raise = "Count the teeth: every second round of the pattern differs a little, so a revolution may hold " +
                std::to_string(2 * fold.edges) + " of them.";
    }
    // The rest of likeness is chance where the pattern hardly shows.
    if (base.mismatch > 0.3) confidence = std::min(confidence, 0.93);
    // Of a wheel that this is, hardly an edge goes missing (one in some thousands). Where one in fifty must have done, those turns are another
    // pattern's, of which this is a part.
    constexpr double kMostLost = 0.02;
    if (search.finding.whole_share < 0.5) {
        confidence = std::min(confidence, 0.8);
        raise =
            "Fewer than half of the revolutions hold all teeth: check sensor, air gap and wiring, then record again.";
    } else if (-std::log(search.finding.whole_share) > kMostLost * search.finding.teeth) {
        confidence = std::min(confidence, 0.8);
        raise = "Count the teeth: more of the turns than lost edges explain do not hold the pattern.";
    }
    settle(search, confidence, why, raise);
    return search;
}

/// Laps of `base`; where they cover little of the recording (half a revolution may look like the other half), those of the period among
/// the better fitting ones that covers most.
Fold best_fold(const Lines& lines, const std::vector<Recurrence>& all, Recurrence& base) {
    if (base.edges == 0) return {};
    Fold best = fold_by_pattern(lines.crank_s, base.edges);
    constexpr double kCovers = 0.75;
    constexpr std::size_t kMostTries = 6;
    if (best.whole_share() >= kCovers) return best;
    std::vector<Recurrence> better;
    for (const Recurrence& each : all)
        if (each.edges > base.edges && each.mismatch < base.mismatch) better.push_back(each);
    std::stable_sort(better.begin(), better.end(),
                     [](const Recurrence& a, const Recurrence& b) { return a.mismatch < b.mismatch; });
    if (better.size() > kMostTries) better.resize(kMostTries);
    std::sort(better.begin(), better.end(), [](const Recurrence& a, const Recurrence& b) { return a.edges < b.edges; });
    for (const Recurrence& each : better) {
        Fold fold = fold_by_pattern(lines.crank_s, each.edges);
        // Multiples cover no more than what they repeat.
        if (fold.whole_share() < best.whole_share() + 0.1) continue;
        best = std::move(fold);
        base = each;
        if (best.whole_share() >= kCovers) break;
    }
    return best;
}

/// Whether a pattern of gaps comes back within the lap.
bool holds_twice(const ToothPattern& pattern) {
    const std::size_t half = pattern.pitches.size() / 2;
    return half > 0 && pattern.pitches.size() % 2 == 0 && has_gap(pattern) &&
           std::equal(pattern.pitches.begin(), pattern.pitches.begin() + static_cast<std::ptrdiff_t>(half),
                      pattern.pitches.begin() + static_cast<std::ptrdiff_t>(half));
}

/// Two revolutions of a cycle may differ so much by the engine's swing that their teeth seem to come back after both alone. Where the gaps come
/// back after one, the lap is that; whether a revolution holds two of them is asked of the errors of the teeth.
Fold shortest(const Lines& lines, Fold fold, Recurrence& base) {
    constexpr int kFewest = 8;
    while (fold.edges >= kFewest && !fold.laps.empty() && holds_twice(read_pattern(lines.crank_s, fold))) {
        fold = split(lines.crank_s, fold, 2);
        base.edges = fold.edges;
        base.doubled = false;
    }
    return fold;
}

}  // namespace

WheelSearch search_wheel(const Lines& lines) {
    WheelSearch search;
    constexpr std::size_t kFewestEdges = 40;
    if (lines.crank_s.size() < kFewestEdges) {
        search.finding.why = "There are only " + std::to_string(lines.crank_s.size()) + " crank edges.";
        search.finding.raise = "Record the engine running for at least ten seconds.";
        return search;
    }
    const MarkLap marks = mark_lap(lines.crank_s, lines.cam_s);
    const std::vector<Recurrence> all = recurrences(lines.crank_s);
    Recurrence base = base_period(all);
    const Fold fold = shortest(lines, best_fold(lines, all, base), base);
    constexpr std::size_t kFewestLaps = 8;
    if (fold.laps.size() >= kFewestLaps) {
        const ToothPattern one = read_pattern(lines.crank_s, fold);
        const bool plain = one.positions > 0 && !has_gap(one);
        constexpr int kFineRing =
            48;  // coarser even teeth are not counted by their errors: the engine's swing is like them
        if (!plain) return shaped_wheel(lines, fold, marks, base);
        if (marks.marks == 0 && fold.edges >= kFineRing) return ring_without_marks(lines, fold);
    }
    if (marks.marks > 0) search = plain_wheel(lines, marks);
    if (!search.finding.found()) {
        search.finding.why = "The edges follow no pattern that comes back, and no second line marks revolutions.";
        search.finding.raise =
            "Check that this line is a crank sensor; record a cam sensor or a reference mark on the second line, at a "
            "steady "
            "idle.";
    }
    return search;
}

}  // namespace kurbel::discover
