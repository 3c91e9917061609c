// The swap test as a picture: each cylinder's share of lost firings before and after, and how probable each explanation is. Before
// and after differ by shape and lane, explanations by their labels: it reads the same in grey.
#include <algorithm>
#include <cmath>

#include "kurbel/study/binomial.hpp"
#include "study/swap_words.hpp"
#include "text/svg.hpp"
#include "text/text.hpp"

namespace kurbel::swap {

namespace {

using text::format;
using text::svg::text_at;

constexpr double kWidth = 1000.0;
constexpr double kLeft = 190.0;
constexpr double kRight = 40.0;
constexpr double kTop = 150.0;
constexpr double kLane = 24.0;
constexpr double kRow = 66.0;
constexpr double kBars = 34.0;

/// Share lost on an axis that spreads small shares: its square root.
double x_of(double share) { return kLeft + std::sqrt(std::clamp(share, 0.0, 1.0)) * (kWidth - kLeft - kRight); }

std::string lane(const FiringRecord& record, double y, bool before) {
    if (record.firings() == 0) return text_at(kLeft + 6.0, y + 4.0, "class=\"kb-small\"", "not judged");
    const Interval range = exact_interval(record.misfires(), record.firings());
    const double share = static_cast<double>(record.misfires()) / static_cast<double>(record.firings());
    std::string svg =
        format("<path class=\"kb-range\" d=\"M%.1f %.1fH%.1f\"/>\n", x_of(range.low), y, x_of(range.high));
    if (before)
        svg += format("<circle class=\"kb-before\" cx=\"%.1f\" cy=\"%.1f\" r=\"6\"/>\n", x_of(share), y);
    else
        svg += format("<path class=\"kb-after\" d=\"M%.1f %.1fl7 7l-7 7l-7 -7z\"/>\n", x_of(share), y - 7.0);
    const double label = x_of(range.high) + 12.0;
    const bool inside = label < kWidth - 150.0;
    svg += text_at(inside ? label : x_of(range.low) - 12.0, y + 4.0,
                   inside ? "class=\"kb-small\"" : "class=\"kb-small\" text-anchor=\"end\"",
                   std::to_string(record.misfires()) + " of " + std::to_string(record.firings()) +
                       (before ? " before" : " after"));
    return svg;
}

std::string row(const Row& row, const std::vector<int>& to, double top) {
    std::string svg = format("<path class=\"kb-line\" d=\"M20 %.1fH%.1f\"/>\n", top, kWidth - kRight);
    svg += text_at(20.0, top + 28.0, "class=\"kb-strong\"", "cylinder " + row.label());
    std::string part = "part not moved";
    for (const int c : row.cylinder)
        if (c > 0 && to[static_cast<std::size_t>(c)] != c)
            part = "part of " + std::to_string(c) + " went to " + std::to_string(to[static_cast<std::size_t>(c)]);
    svg += text_at(20.0, top + 46.0, "class=\"kb-small\"", part);
    return svg + lane(row.before, top + 20.0, true) + lane(row.after, top + 20.0 + kLane, false);
}

std::string axis(double bottom) {
    std::string svg;
    for (const double share : {0.0, 0.01, 0.05, 0.1, 0.25, 0.5, 1.0}) {
        svg += format("<path class=\"kb-grid\" d=\"M%.1f %.1fV%.1f\"/>\n", x_of(share), kTop - 6.0, bottom);
        svg += text_at(x_of(share), kTop - 14.0, "class=\"kb-small\" text-anchor=\"middle\"",
                       format("%.0f %%", 100.0 * share));
    }
    return svg;
}

std::string bars(const Outcome& outcome, double top) {
    std::string svg = text_at(20.0, top, "class=\"kb-strong\"", "Probability of each explanation");
    double y = top + 16.0;
    for (const Story story : {Story::followed, Story::stayed, Story::vanished, Story::other}) {
        const double p = outcome.posterior.of(story);
        const double width = p * (kWidth - kLeft - kRight - 80.0);
        const bool told = outcome.verdict == word(story);
        svg += text_at(kLeft - 12.0, y + 16.0, told ? "class=\"kb-strong\" text-anchor=\"end\"" : "text-anchor=\"end\"",
                       word(story));
        svg += format("<rect class=\"%s\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"20\"/>\n",
                      told ? "kb-told" : "kb-bar", kLeft, y, std::max(width, 1.0));
        svg += text_at(kLeft + width + 10.0, y + 15.0, "class=\"kb-small\"",
                       probability_text(p) + (told ? " (verdict)" : ""));
        y += kBars;
    }
    return svg;
}

}  // namespace

std::string picture(const Outcome& outcome, const std::string& sentence) {
    const double bottom = kTop + kRow * static_cast<double>(outcome.given.rows.size());
    const double height = bottom + 60.0 + 4.0 * kBars + 24.0;
    std::string svg = text::svg::begin(kWidth, height, "Swap test: " + outcome.verdict, sentence);
    svg += text::svg::heading("Swap test: " + outcome.verdict, sentence, kWidth);
    svg += text_at(20.0, kTop - 14.0, "class=\"kb-small\"", "share of firings lost");
    svg += axis(bottom);
    for (std::size_t r = 0; r < outcome.given.rows.size(); ++r)
        svg += row(outcome.given.rows[r], outcome.to, kTop + kRow * static_cast<double>(r));
    svg += format("<path class=\"kb-line\" d=\"M20 %.1fH%.1f\"/>\n", bottom, kWidth - kRight);
    svg +=
        text_at(20.0, bottom + 18.0, "class=\"kb-small\"",
                "circle: before, diamond: after; bars: 95 % intervals if losses were independent; square-root scale");
    svg += bars(outcome, bottom + 54.0);
    return svg + "</svg>\n";
}

}  // namespace kurbel::swap
