// The sequential test as a picture: the weight of evidence after each firing, between the limits at which it ends.
#include <algorithm>
#include <cmath>

#include "study/verify_outcome.hpp"
#include "text/svg.hpp"
#include "text/text.hpp"

namespace kurbel::verify {

namespace {

using text::format;
using text::svg::text_at;

constexpr double kWidth = 1000.0;
constexpr double kLeft = 60.0;
constexpr double kRight = 200.0;
constexpr double kTop = 130.0;
constexpr double kBottom = 430.0;
constexpr double kHeight = 490.0;

}  // namespace

std::string picture(const Outcome& outcome, const std::string& sentence) {
    const RepairTest& test = outcome.test;
    const SequentialPlan& plan = test.plan();
    std::string svg = text::svg::begin(kWidth, kHeight, "Repair: " + outcome.verdict, sentence);
    svg += text::svg::heading("Repair: " + outcome.verdict, sentence, kWidth);
    const double margin = 0.35 * (plan.remains_at - plan.gone_at);
    const double highest = plan.remains_at + margin;
    const double lowest = plan.gone_at - margin;
    // What is left is drawn too: how many firings without a misfire end the test.
    const double last = static_cast<double>(test.firings() + test.clean_needed());
    const auto x = [&](double firings) { return kLeft + firings / std::max(last, 1.0) * (kWidth - kLeft - kRight); };
    const auto y = [&](double ratio) {
        return kTop + (highest - std::clamp(ratio, lowest, highest)) / (highest - lowest) * (kBottom - kTop);
    };
    const double step = std::max(text::svg::round_step(std::max(last, 1.0), 8.0), 1.0);
    for (double n = 0.0; n <= last; n += step) {
        svg += format("<path class=\"kb-grid\" d=\"M%.1f %.1fV%.1f\"/>\n", x(n), kTop, kBottom);
        svg += text_at(x(n), kBottom + 18.0, "class=\"kb-small\" text-anchor=\"middle\"", format("%.0f", n));
    }
    svg += text_at(0.5 * (kLeft + kWidth - kRight), kBottom + 42.0, "text-anchor=\"middle\"",
                   "judged firings of " + outcome.who);
    const auto limit = [&](double ratio, const std::string& what, const std::string& more) {
        svg += format("<path class=\"kb-limit\" d=\"M%.1f %.1fH%.1f\"/>\n", kLeft, y(ratio), kWidth - kRight);
        svg += text_at(kWidth - kRight + 10.0, y(ratio) + 1.0, "class=\"kb-strong\"", what);
        svg += text_at(kWidth - kRight + 10.0, y(ratio) + 17.0, "class=\"kb-small\"", more);
    };
    limit(plan.remains_at, "remains", "as at " + text::percent(plan.bad) + " or more");
    limit(plan.gone_at, "gone", "as at " + text::percent(plan.good) + " or less");
    svg += format("<path class=\"kb-line\" d=\"M%.1f %.1fH%.1f\"/>\n", kLeft, y(0.0), kWidth - kRight);
    svg += text_at(kWidth - kRight + 10.0, y(0.0) + 4.0, "class=\"kb-small\"", "no evidence either way");
    std::string path = format("M%.1f %.1f", x(0.0), y(0.0));
    std::string marks;
    std::int64_t misfires = 0;
    for (const Step& at : outcome.path) {
        const double px = x(static_cast<double>(at.firings));
        path += format("L%.1f %.1f", px, y(plan.ratio(at.firings, at.misfires)));
        if (at.misfires > misfires)
            marks += format("M%.1f %.1fl8 8m0 -8l-8 8", px - 4.0, y(plan.ratio(at.firings, at.misfires)) - 4.0);
        misfires = at.misfires;
    }
    svg += "<path class=\"kb-path\" d=\"" + path + "\"/>\n";
    if (test.state() == RepairState::running)
        svg += format("<path class=\"kb-path\" stroke-dasharray=\"2 5\" d=\"M%.1f %.1fL%.1f %.1f\"/>\n",
                      x(static_cast<double>(test.firings())), y(plan.ratio(test.firings(), test.misfires())), x(last),
                      y(plan.ratio(test.firings() + test.clean_needed(), test.misfires())));
    if (!marks.empty()) svg += "<path class=\"kb-mark\" d=\"" + marks + "\"/>\n";
    if (test.state() != RepairState::running) {
        const double px = x(static_cast<double>(test.decided_firings()));
        const double py = y(plan.ratio(test.decided_firings(), test.decided_misfires()));
        svg += format("<circle class=\"kb-before\" cx=\"%.1f\" cy=\"%.1f\" r=\"7\"/>\n", px, py);
        const bool right = px < kWidth - kRight - 220.0;
        svg += text_at(px + (right ? 12.0 : -12.0), py + 24.0,
                       right ? "class=\"kb-strong\"" : "class=\"kb-strong\" text-anchor=\"end\"",
                       format("the test ended here, at %.0f s", test.decided_s()));
    }
    svg += text_at(kLeft, kTop - 10.0, "class=\"kb-small\"",
                   "weight of evidence (log likelihood ratio), up: misfires remain; cross: a misfire; dotted: what is "
                   "left without one");
    return svg + "</svg>\n";
}

}  // namespace kurbel::verify
