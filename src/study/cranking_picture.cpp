// Relative compression as a picture: a bar with its range for each cylinder, and one cycle's speed beside the model's. Told apart by
// shape and words, not by colour alone.
#include <algorithm>
#include <cmath>

#include "study/cranking_words.hpp"
#include "text/svg.hpp"
#include "text/text.hpp"

namespace kurbel::cranking {

namespace {

using text::format;
using text::svg::text_at;

constexpr double kWidth = 1000.0;
constexpr double kLeft = 150.0;
constexpr double kRight = 60.0;
constexpr double kTop = 160.0;
constexpr double kRow = 38.0;
constexpr double kPlot = 230.0;

double x_of(double percent) { return kLeft + std::clamp(percent, 0.0, 110.0) / 110.0 * (kWidth - kLeft - kRight); }

std::string bar(const CylinderCompression& reading, double y) {
    std::string svg =
        text_at(kLeft - 14.0, y + 17.0, "class=\"kb-strong\" text-anchor=\"end\"", "cylinder " + label(reading));
    svg += format("<rect class=\"%s\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"24\"/>\n",
                  reading.below ? "kb-after" : "kb-bar", kLeft, y, x_of(reading.percent) - kLeft);
    svg += format(
        "<path class=\"kb-line\" style=\"stroke:#1c1c1c;stroke-width:2\" "
        "d=\"M%.1f %.1fH%.1fM%.1f %.1fv10M%.1f %.1fv10\"/>\n",
        x_of(reading.low), y + 12.0, x_of(reading.high), x_of(reading.low), y + 7.0, x_of(reading.high), y + 7.0);
    svg += format("<rect x=\"%.1f\" y=\"%.1f\" width=\"%.0f\" height=\"18\" fill=\"#fff\"/>\n", kLeft + 6.0, y + 3.0,
                  reading.below ? 200.0 : 118.0);
    return svg + text_at(kLeft + 10.0, y + 17.0, "class=\"kb-small\"",
                         format("%.0f %% (%.0f to %.0f)%s", reading.percent, reading.low, reading.high,
                                reading.below ? ", below limit" : ""));
}

std::string bars(const RelativeCompression& result, const CrankingOptions& options) {
    const double bottom = kTop + kRow * static_cast<double>(result.cylinders.size());
    std::string svg = text_at(20.0, kTop - 38.0, "class=\"kb-small\"",
                              "gauge pressure at TDC, percent of the best cylinder; lines: 95 % ranges");
    for (int percent = 0; percent <= 100; percent += 20) {
        svg += format("<path class=\"kb-grid\" d=\"M%.1f %.1fV%.1f\"/>\n", x_of(percent), kTop - 8.0, bottom);
        svg +=
            text_at(x_of(percent), kTop - 16.0, "class=\"kb-small\" text-anchor=\"middle\"", std::to_string(percent));
    }
    for (std::size_t i = 0; i < result.cylinders.size(); ++i)
        svg += bar(result.cylinders[i], kTop + 4.0 + kRow * static_cast<double>(i));
    const double limit = x_of(100.0 - options.limit_percent);
    svg += format("<path class=\"kb-limit\" style=\"stroke:#1c1c1c;stroke-dasharray:7 4\" d=\"M%.1f %.1fV%.1f\"/>\n",
                  limit, kTop - 2.0, bottom + 4.0);
    return svg + text_at(limit, bottom + 20.0, "class=\"kb-small\" text-anchor=\"middle\"",
                         format("limit %.0f %%", 100.0 - options.limit_percent));
}

std::string line(const std::vector<double>& x_deg, const std::vector<double>& rpm, double span_deg, double highest,
                 double top) {
    std::string path;
    for (std::size_t i = 0; i < x_deg.size(); ++i)
        path += format("%s%.1f %.1f", i == 0 ? "M" : "L", kLeft + x_deg[i] / span_deg * (kWidth - kLeft - kRight),
                       top + kPlot * (1.0 - rpm[i] / highest));
    return path;
}

std::string speeds(const RelativeCompression& result, double top) {
    if (result.shown_deg.empty()) return "";
    const double span_deg = 360.0 * std::ceil(result.shown_deg.back() / 360.0);
    const double fastest = *std::max_element(result.shown_rpm.begin(), result.shown_rpm.end());
    const double step = text::svg::round_step(fastest, 5.0);
    const double highest = step * std::ceil(fastest / step);
    std::string svg = text_at(20.0, top - 18.0, "class=\"kb-strong\"",
                              "One engine cycle: speed falls into each compression and rises out of it");
    for (double rpm = 0.0; rpm <= highest + 0.5 * step; rpm += step) {
        const double y = top + kPlot * (1.0 - rpm / highest);
        svg += format("<path class=\"kb-grid\" d=\"M%.1f %.1fH%.1f\"/>\n", kLeft, y, kWidth - kRight);
        svg += text_at(kLeft - 10.0, y + 4.0, "class=\"kb-small\" text-anchor=\"end\"", format("%.0f rpm", rpm));
    }
    for (double deg = 0.0; deg <= span_deg; deg += 180.0)
        svg += text_at(kLeft + deg / span_deg * (kWidth - kLeft - kRight), top + kPlot + 18.0,
                       "class=\"kb-small\" text-anchor=\"middle\"", format("%.0f", deg));
    svg += text_at(kWidth - kRight, top + kPlot + 36.0, "class=\"kb-small\" text-anchor=\"end\"",
                   result.phase_known ? "crank degrees after firing TDC of cylinder 1; dots: measured, line: model"
                                      : "crank degrees after a TDC of cylinder 1; dots: measured, line: model");
    svg += "<path class=\"kb-path\" style=\"stroke:#0b5c8f;stroke-width:2;fill:none\" d=\"" +
           line(result.shown_deg, result.model_rpm, span_deg, highest, top) + "\"/>\n";
    for (std::size_t i = 0; i < result.shown_deg.size(); ++i)
        svg += format("<circle cx=\"%.1f\" cy=\"%.1f\" r=\"2.2\" fill=\"#1c1c1c\"/>\n",
                      kLeft + result.shown_deg[i] / span_deg * (kWidth - kLeft - kRight),
                      top + kPlot * (1.0 - result.shown_rpm[i] / highest));
    return svg;
}

}  // namespace

std::string picture(const RelativeCompression& result, const CrankingOptions& options, const std::string& sentence) {
    const double plot_top = kTop + kRow * static_cast<double>(result.cylinders.size()) + 76.0;
    const double height = plot_top + kPlot + 50.0;
    const std::string title = "Relative compression: " + result.verdict;
    std::string svg = text::svg::begin(kWidth, height, title, sentence);
    svg += text::svg::heading(title, sentence, kWidth);
    svg += bars(result, options);
    svg += speeds(result, plot_top);
    return svg + "</svg>\n";
}

}  // namespace kurbel::cranking
