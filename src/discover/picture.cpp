// tooth-periods.svg: how long each stretch from tooth to tooth lasts, along one revolution.
#include <algorithm>
#include <cmath>

#include "kurbel/discover/tell.hpp"
#include "text/svg.hpp"
#include "text/text.hpp"

namespace kurbel::discover {

namespace {

using text::format;
using text::svg::text_at;

constexpr double kWidth = 1000.0;
constexpr double kHeight = 430.0;
constexpr double kLeft = 70.0;
constexpr double kRight = 970.0;
constexpr double kTop = 92.0;
constexpr double kBottom = 340.0;

double x_of(double deg) { return kLeft + deg / 360.0 * (kRight - kLeft); }

/// Logarithmic, so that half and twice as long look alike.
struct Scale {
    double low;
    double high;
    [[nodiscard]] double y(double ratio) const {
        return kBottom - (std::log(ratio) - std::log(low)) / (std::log(high) - std::log(low)) * (kBottom - kTop);
    }
};

Scale scale_of(const Discovery& found) {
    Scale scale{0.8, 1.25};
    for (const ToothPeriod& period : found.periods) {
        scale.low = std::min(scale.low, 0.9 * std::max(0.05, period.ratio - period.spread));
        scale.high = std::max(scale.high, 1.1 * (period.ratio + period.spread));
    }
    return scale;
}

std::string axes(const Scale& scale) {
    std::string svg;
    for (int deg = 0; deg <= 360; deg += 30) {
        svg += format("<path class=\"grid\" d=\"M%.1f %.1fV%.1f\"/>\n", x_of(deg), kTop, kBottom);
        svg += text_at(x_of(deg), kBottom + 17.0, "text-anchor=\"middle\"", std::to_string(deg));
    }
    for (const double ratio : {0.1, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0}) {
        if (ratio < scale.low || ratio > scale.high) continue;
        svg += format("<path class=\"%s\" d=\"M%.1f %.1fH%.1f\"/>\n", ratio == 1.0 ? "one" : "grid", kLeft,
                      scale.y(ratio), kRight);
        svg += text_at(kLeft - 8.0, scale.y(ratio) + 4.0, "text-anchor=\"end\"", format("%g", ratio));
    }
    svg += text_at(0.5 * (kLeft + kRight), kBottom + 36.0, "text-anchor=\"middle\"", "crank degrees after place 0");
    return svg;
}

/// The steps, with the scatter behind them; stretches of several places stand out by a filled foot.
std::string steps(const Discovery& found, const Scale& scale) {
    std::string scatter;
    std::string feet;
    std::string path;
    const double place = found.wheel.positions > 0 ? 360.0 / found.wheel.positions : 360.0;
    for (const ToothPeriod& period : found.periods) {
        const double left = x_of(period.begin_deg);
        const double right = x_of(period.begin_deg + period.width_deg);
        const double top = scale.y(period.ratio + period.spread);
        const double bottom = scale.y(std::max(scale.low, period.ratio - period.spread));
        scatter += format("<rect class=\"scatter\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>\n", left, top,
                          right - left, std::max(0.5, bottom - top));
        if (period.width_deg > 1.5 * place)
            feet += format("<rect class=\"gap\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>\n", left,
                           scale.y(period.ratio), right - left, kBottom - scale.y(period.ratio));
        const double y = scale.y(period.ratio);
        path += path.empty() ? format("M%.1f %.1fH%.1f", left, y, right) : format("V%.1fH%.1f", y, right);
    }
    return feet + scatter + "<path class=\"period\" d=\"" + path + "\"/>\n";
}

/// Marks along the upper edge: edges of the second line, TDCs.
std::string marks(const Discovery& found) {
    std::string svg;
    for (const double deg : found.cam.edge_deg) {
        const double x = x_of(std::fmod(deg, 360.0));
        svg += format("<path class=\"mark\" d=\"M%.1f %.1fV%.1f\"/>\n", x, kTop, kTop + 26.0);
        svg += text_at(x, kTop - 6.0, "text-anchor=\"middle\" class=\"small\"",
                       found.cam.tells_turn ? "reference"
                       : deg < 360.0        ? "cam, 1st turn"
                                            : "cam, 2nd turn");
    }
    if (!found.tdc.found() || found.tdc.sureness == Sureness::not_sure) return svg;
    std::vector<double> seen;
    for (double deg = found.tdc.deg; deg < found.tdc.deg + 720.0 - 1e-6; deg += found.tdc.period_deg) {
        const double at = std::fmod(deg, 360.0);
        if (std::any_of(seen.begin(), seen.end(), [&](double other) { return std::abs(other - at) < 0.5; })) continue;
        seen.push_back(at);
        svg +=
            format("<path class=\"tdc\" d=\"M%.1f %.1fV%.1fm-5 -8l5 8l5 -8\"/>\n", x_of(at), kBottom - 26.0, kBottom);
        svg += text_at(x_of(at), kBottom - 30.0, "text-anchor=\"middle\" class=\"small\"", "TDC");
    }
    return svg;
}

}  // namespace

std::string tooth_period_svg(const Discovery& found) {
    std::string svg = text::svg::opening(kWidth, kHeight);
    svg +=
        "<style>text{font-family:'DejaVu Sans',Verdana,sans-serif;font-size:12px;fill:#23282d}"
        ".head{font-size:17px;font-weight:bold}.small{font-size:11px}"
        ".grid{stroke:#e4e0d8;fill:none}.one{stroke:#8c8577;stroke-dasharray:5 4;fill:none}"
        ".period{stroke:#24466b;stroke-width:1.8;fill:none}.scatter{fill:#9db4cc}.gap{fill:#efe3c2}"
        ".mark{stroke:#2f6f4f;stroke-width:2.5;fill:none}.tdc{stroke:#8a3d1f;stroke-width:1.6;fill:none}</style>\n"
        "<rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n";
    svg += text_at(14.0, 26.0, "class=\"head\"", "Tooth periods along one revolution: " + found.wheel.name());
    svg += text_at(
        14.0, 47.0, "",
        found.wheel.positions > 0
            ? "Mean period from edge to edge, over that of one place; the band is the scatter from turn to turn."
            : "Mean period from edge to edge, over that of evenly spaced teeth; the band is the scatter from turn to "
              "turn.");
    const Scale scale = scale_of(found);
    svg += axes(scale) + steps(found, scale) + marks(found);
    svg += text_at(14.0, kHeight - 14.0, "class=\"small\"",
                   format("%.0f turns, %s of them whole; %s", found.wheel.turns,
                          text::percent(found.wheel.whole_share).c_str(), name(found.wheel.sureness)));
    return svg + "</svg>\n";
}

}  // namespace kurbel::discover
