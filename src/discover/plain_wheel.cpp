#include "discover/plain_wheel.hpp"

#include <algorithm>
#include <string>
#include <utility>

#include "discover/turn_multiple.hpp"

namespace kurbel::discover {

namespace {

/// Even teeth that nothing interrupts come as 24 of a width code, as 360 slots or as a ring gear (common practice, no source).
bool usual_plain(int teeth) { return teeth == 24 || teeth == 360 || (teeth >= 110 && teeth <= 160); }

}  // namespace

WheelSearch plain_wheel(const Lines& lines, const MarkLap& marks) {
    WheelSearch search;
    const Fold whole = fold_by_marks(lines.crank_s, lines.cam_s, marks.marks, marks.edges);
    if (whole.laps.empty()) return search;
    double confidence = 0.0;
    std::string why;
    std::string raise;
    int teeth = marks.edges;
    if (marks.edges % 2 == 1) {
        search.turns = whole;
        confidence = 0.995;
        why = "An odd number of edges lies between two marks of the second line, so a revolution cannot be half of it.";
    } else {
        const Fold halves = split(lines.crank_s, whole, 2);
        HalvesFinding seen =
            compare_halves(lines.crank_s, halves, std::vector<double>(static_cast<std::size_t>(halves.edges), 0.0));
        // Coarse teeth: what alternates from mark to mark is the engine's cycle, so that between them lies half of one.
        if (halves.edges < kShortWaves)
            seen.halves = alternates(lines.crank_s, whole) ? Halves::different : Halves::untold;
        const bool untold = seen.halves == Halves::untold;
        const bool by_custom = untold && usual_plain(teeth) != usual_plain(teeth / 2);
        const bool one_turn = by_custom ? usual_plain(teeth) : seen.halves == Halves::different;
        if (!one_turn) teeth /= 2;
        search.turns = one_turn ? whole : halves;
        constexpr double kByCustom = 0.95;
        confidence = by_custom ? kByCustom : untold ? 0.6 : 0.995;
        why = seen.halves == Halves::same ? "The small errors of the teeth come back twice between two marks of the "
                                            "second line: those are two revolutions."
              : seen.halves == Halves::different
                  ? "The small errors of the teeth come back once between two marks of the "
                    "second line: that is one revolution."
                  : "The small errors of the teeth are too faint to tell whether one or two "
                    "revolutions lie between two marks of the second line.";
        if (by_custom) why += " " + std::to_string(teeth) + " even teeth are usual, the other number is not.";
        if (untold)
            raise = "Count the teeth, or record at steadier speed with a finer timer; the other answer is " +
                    std::to_string(teeth == marks.edges ? marks.edges / 2 : marks.edges) + " teeth.";
    }
    describe(lines.crank_s, search);
    // Even teeth are the only kind that this can be.
    search.pattern.positions = teeth;
    if (search.finding.positions != teeth || search.turns.edges > kMaxTeeth) confidence = std::min(confidence, 0.5);
    settle(search, confidence, why, raise);
    return search;
}

WheelSearch ring_without_marks(const Lines& lines, Fold fold) {
    WheelSearch search;
    search.turns = std::move(fold);
    describe(lines.crank_s, search);
    settle(search, 0.92,
           "The small errors of the teeth come back after every " + std::to_string(search.turns.edges) +
               " edges, and nothing else marks a revolution.",
           "Record a reference: one mark a revolution, or a cam sensor, on a second line. Without it no position is "
           "known.");
    return search;
}

}  // namespace kurbel::discover
