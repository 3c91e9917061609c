// Work per cylinder as a picture: each cylinder against the others with its range, and how much it scatters. Shapes and words carry it.
#include <algorithm>
#include <cmath>

#include "study/work_words.hpp"
#include "text/svg.hpp"
#include "text/text.hpp"

namespace kurbel::work {

namespace {

using text::format;
using text::svg::text_at;

constexpr double kWidth = 1000.0;
constexpr double kLeft = 150.0;
constexpr double kMiddle = 640.0;  ///< where the first panel ends
constexpr double kRight = 60.0;
constexpr double kTop = 170.0;
constexpr double kRow = 56.0;

/// Half of the first panel's span, percent: round, and wide enough for all ranges up to 60.
double reach(const WorkBalance& balance) {
    double most = 5.0;
    for (const CylinderWork& row : balance.cylinders)
        for (const double value : {row.low, row.high, row.to_partner_low, row.to_partner_high})
            if (std::isfinite(value)) most = std::max(most, std::fabs(value));
    most = std::min(most, 100.0);
    const double step = text::svg::round_step(most, 4.0);
    return step * std::ceil(most / step);
}

class Panel {
  public:
    explicit Panel(double span) : span_(span) {}
    [[nodiscard]] double x(double percent) const {
        const double share = std::clamp(percent / span_, -1.0, 1.0);
        return 0.5 * (kLeft + kMiddle) + share * 0.5 * (kMiddle - kLeft);
    }
    [[nodiscard]] std::string range(double low, double value, double high, double y, bool filled) const {
        std::string svg = format("<path class=\"kb-range\" d=\"M%.1f %.1fH%.1f\"/>\n", x(low), y, x(high));
        if (filled) return svg + format("<circle class=\"kb-after\" cx=\"%.1f\" cy=\"%.1f\" r=\"6\"/>\n", x(value), y);
        return svg + format("<rect class=\"kb-before\" x=\"%.1f\" y=\"%.1f\" width=\"10\" height=\"10\"/>\n",
                            x(value) - 5.0, y - 5.0);
    }
    [[nodiscard]] std::string axis(double bottom) const {
        std::string svg;
        const double step = text::svg::round_step(span_, 4.0);
        for (double at = -span_; at <= span_ + 0.01 * step; at += step) {
            svg += format("<path class=\"%s\" d=\"M%.1f %.1fV%.1f\"/>\n",
                          std::fabs(at) < 0.01 * step ? "kb-line" : "kb-grid", x(at), kTop - 6.0, bottom);
            svg += text_at(
                x(at), kTop - 14.0, "class=\"kb-small\" text-anchor=\"middle\"",
                format(std::fabs(at) < 0.01 * step ? "%.0f %%" : "%+.0f %%", std::fabs(at) < 0.01 * step ? 0.0 : at));
        }
        return svg;
    }

  private:
    double span_;
};

std::string scatter_bar(const CylinderWork& row, double y, double highest) {
    if (!std::isfinite(row.scatter_percent))
        return text_at(kMiddle + 70.0, y + 5.0, "class=\"kb-small\"", "not known: too few steady cycles");
    const auto x = [&](double percent) {
        return kMiddle + 70.0 + std::min(percent / highest, 1.0) * (kWidth - kRight - kMiddle - 70.0);
    };
    std::string svg = format("<rect class=\"kb-bar\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"14\"/>\n", x(0.0),
                             y - 7.0, x(row.scatter_percent) - x(0.0));
    svg += format("<path class=\"kb-range\" d=\"M%.1f %.1fH%.1f\"/>\n", x(row.scatter_low), y, x(row.scatter_high));
    return svg + text_at(x(0.0), y + 22.0, "class=\"kb-small\"",
                         format("%.1f %% (%.1f to %.1f)", row.scatter_percent, row.scatter_low, row.scatter_high));
}

}  // namespace

std::string picture(const WorkBalance& balance, const WorkOptions& options, const std::string& sentence) {
    const double bottom = kTop + kRow * static_cast<double>(balance.cylinders.size());
    const std::string title = "Work per cylinder: " + balance.verdict;
    std::string svg = text::svg::begin(kWidth, bottom + 60.0, title, sentence);
    svg += text::svg::heading(title, sentence, kWidth);
    const Panel panel(reach(balance));
    svg += text_at(kLeft, kTop - 40.0, "class=\"kb-strong\"", "mean work, difference");
    svg += text_at(kMiddle + 70.0, kTop - 40.0, "class=\"kb-strong\"", "scatter from cycle to cycle");
    svg += panel.axis(bottom);
    double highest = 5.0;
    for (const CylinderWork& row : balance.cylinders)
        if (std::isfinite(row.scatter_high)) highest = std::max(highest, row.scatter_high);
    bool partners = false;
    for (std::size_t i = 0; i < balance.cylinders.size(); ++i) {
        const CylinderWork& row = balance.cylinders[i];
        const double y = kTop + kRow * (static_cast<double>(i) + 0.5);
        svg += text_at(kLeft - 14.0, y, "class=\"kb-strong\" text-anchor=\"end\"", "cylinder " + label(row));
        if (row.differs) svg += text_at(kLeft - 14.0, y + 16.0, "class=\"kb-small\" text-anchor=\"end\"", "differs");
        svg += panel.range(row.low, row.percent, row.high, row.partner > 0 ? y - 9.0 : y, true);
        if (row.partner > 0) {
            partners = true;
            svg += panel.range(row.to_partner_low, row.to_partner_percent, row.to_partner_high, y + 11.0, false);
        }
        svg += scatter_bar(row, y - 4.0, highest);
    }
    svg += format("<path class=\"kb-line\" d=\"M20 %.1fH%.1f\"/>\n", bottom, kWidth - kRight);
    svg += text_at(
        20.0, bottom + 20.0, "class=\"kb-small\"",
        partners
            ? "disc: against the mean of the others; square: against the cylinder that fires one revolution later, "
              "free of the wheel's error"
            : "disc: against the mean of the others");
    svg += text_at(20.0, bottom + 38.0, "class=\"kb-small\"",
                   format("lines: 95 %% ranges; \"differs\": by more than %.1f %%, and no accident with all "
                          "comparisons considered together",
                          options.limit_percent));
    return svg + "</svg>\n";
}

}  // namespace kurbel::work
