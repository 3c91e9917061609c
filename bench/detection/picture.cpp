#include "picture.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "text/svg.hpp"
#include "text/text.hpp"

namespace kurbel_detection {

namespace {

using kurbel::text::format;
using kurbel::text::svg::escaped;
using kurbel::text::svg::text_at;

// Told apart by colour-blind readers too (Okabe & Ito, Color Universal Design, 2008).
constexpr const char* kOurs = "#0072b2";
constexpr const char* kFails = "#d55e00";
constexpr const char* kObserverColour = "#009e73";
constexpr const char* kClassicColour = "#999999";
constexpr const char* kSmall = "font-size=\"11\" fill=\"#333\"";
constexpr const char* kCentred = "font-size=\"11\" fill=\"#333\" text-anchor=\"middle\"";
constexpr const char* kRightBound = "font-size=\"11\" fill=\"#333\" text-anchor=\"end\"";

constexpr double kLeft = 78.0;
constexpr double kTop = 78.0;
constexpr double kPanel = 230.0;
constexpr double kBetween = 34.0;

std::string opening(double width, double height, const std::string& title) {
    return format(
               "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %.0f %.0f\" width=\"%.0f\" height=\"%.0f\" "
               "font-family=\"sans-serif\">\n<rect width=\"100%%\" height=\"100%%\" fill=\"white\"/>\n",
               width, height, width, height) +
           text_at(kLeft, 26.0, "font-size=\"16\" fill=\"#111\"", title);
}

std::string line(double x1, double y1, double x2, double y2, const char* style) {
    return format("<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" %s/>\n", x1, y1, x2, y2, style);
}

/// A panel with shares on a logarithmic scale; what is nothing stands on the floor below it.
class SharePanel {
  public:
    SharePanel(double top, int lowest_decade) : top_(top), lowest_(lowest_decade) {}

    [[nodiscard]] double y(double share) const {
        const double floor = lowest_ - 0.4;
        const double decades = share > 0.0 ? std::max(std::log10(share), floor) : floor;
        return top_ + kPanel * decades / floor;
    }

    [[nodiscard]] std::string frame(double right, const char* title) const {
        std::string out = text_at(kLeft, top_ - 8.0, kSmall, title);
        for (int decade = lowest_; decade <= 0; ++decade) {
            const double share = std::pow(10.0, decade);
            out += line(kLeft, y(share), right, y(share), "stroke=\"#ddd\"");
            out += text_at(kLeft - 6.0, y(share) + 4.0, kRightBound, format("%g %%", 100.0 * share));
        }
        out += line(kLeft, y(0.0), right, y(0.0), "stroke=\"#888\"");
        return out + text_at(kLeft - 6.0, y(0.0) + 4.0, kRightBound, "none");
    }

  private:
    double top_;
    int lowest_;
};

std::string group_of(const std::string& name) { return name.substr(0, name.find('-')); }

/// A dot with its exact interval; the tooltip tells the counts.
std::string with_interval(const SharePanel& panel, double x, const kurbel::Share& share, const char* colour,
                          const std::string& label) {
    if (share.of == 0) return "";
    const kurbel::Interval interval = share.interval();
    const std::string style = format("stroke=\"%s\" stroke-opacity=\"0.45\"", colour);
    return line(x, panel.y(interval.low), x, panel.y(interval.high), style.c_str()) +
           format("<circle cx=\"%.1f\" cy=\"%.1f\" r=\"2.4\" fill=\"%s\"><title>%s: %lld of %lld</title></circle>\n", x,
                  panel.y(share.rate()), colour, escaped(label).c_str(), static_cast<long long>(share.count),
                  static_cast<long long>(share.of));
}

std::string mark(const SharePanel& panel, double x, const kurbel::Share& share, const char* colour) {
    if (share.of == 0) return "";
    const double y = panel.y(share.rate());
    return line(x - 2.6, y, x + 2.6, y, format("stroke=\"%s\" stroke-width=\"1.6\"", colour).c_str());
}

std::string legend(double x, const char* colour, const char* text) {
    return format("<circle cx=\"%.1f\" cy=\"44\" r=\"4\" fill=\"%s\"/>\n", x, colour) +
           text_at(x + 9.0, 48.0, kSmall, text);
}

}  // namespace

std::string cells_picture(const std::vector<Outcome>& outcomes, const std::string& title) {
    const double step = std::clamp(1000.0 / static_cast<double>(std::max<std::size_t>(outcomes.size(), 1)), 5.5, 30.0);
    const double right = kLeft + step * static_cast<double>(outcomes.size());
    const SharePanel missed(kTop, -4);
    const SharePanel accused(kTop + kPanel + kBetween, -5);
    std::string out = opening(std::max(right + 20.0, 860.0), kTop + 2.0 * kPanel + kBetween + 40.0, title);
    out += legend(kLeft + 4.0, kOurs, "detector: what is asked is met") +
           legend(kLeft + 204.0, kFails, "detector: is not met") +
           legend(kLeft + 344.0, kObserverColour, "trained observer") +
           legend(kLeft + 474.0, kClassicColour, "classic, best threshold");
    out += missed.frame(right, "misfires missed") + accused.frame(right, "healthy firings accused");
    std::string group;
    double group_from = kLeft;
    const auto close_group = [&](double x) {
        if (!group.empty() && x - group_from > 7.0 * static_cast<double>(group.size()) - 8.0)
            out += text_at(0.5 * (group_from + x), kTop + 2.0 * kPanel + kBetween + 16.0, kCentred, group);
        out += line(x, kTop, x, kTop + 2.0 * kPanel + kBetween, "stroke=\"#ccc\" stroke-dasharray=\"2 3\"");
        group_from = x;
    };
    for (std::size_t i = 0; i < outcomes.size(); ++i) {
        const Outcome& o = outcomes[i];
        const double x = kLeft + step * (static_cast<double>(i) + 0.5);
        if (group_of(o.cell->name) != group) {
            if (i > 0) close_group(x - 0.5 * step);
            group = group_of(o.cell->name);
        }
        const Limits limits = limits_of(o.cell->kind);
        if (o.cell->kind != Kind::beyond) {
            for (const auto& [panel, limit] :
                 {std::pair{&missed, limits.missed}, std::pair{&accused, limits.false_alarms}})
                if (limit > 0.0)
                    out += line(x - 0.5 * step, panel->y(limit), x + 0.5 * step, panel->y(limit), "stroke=\"#000\"");
        }
        const char* colour = shortfall(o).empty() ? kOurs : kFails;
        out += mark(missed, x, o.rivals[kClassic].missed, kClassicColour);
        out += mark(missed, x, o.rivals[kObserver].missed, kObserverColour);
        out += with_interval(missed, x, o.missed, colour, o.cell->name + ", missed");
        out += with_interval(accused, x, o.false_alarms, colour, o.cell->name + ", accused");
    }
    close_group(right);
    return out +
           text_at(kLeft, kTop + 2.0 * kPanel + kBetween + 34.0, kSmall,
                   "Black steps: what is asked of the cell. Bars: exact 95 % intervals.") +
           "</svg>\n";
}

std::string reliability_picture(const Reliability& reliability, const std::string& title) {
    static constexpr double kSide = 460.0;
    static constexpr double kMost = 6.5;  // decades of odds shown either way
    const auto place = [](double share) {
        const double odds = share <= 0.0 ? -kMost : (share >= 1.0 ? kMost : std::log10(share / (1.0 - share)));
        return kSide * (std::clamp(odds, -kMost, kMost) + kMost) / (2.0 * kMost);
    };
    const auto x = [&](double share) { return kLeft + place(share); };
    const auto y = [&](double share) { return kTop + kSide - place(share); };
    std::string out = opening(kLeft + kSide + 40.0, kTop + kSide + 60.0, title);
    out += text_at(kLeft, 44.0, kSmall,
                   format("%lld judged firings; bars: exact 95 %% intervals of the share;",
                          static_cast<long long>(reliability.firings())));
    out += text_at(kLeft, 58.0, kSmall, "blue where the told mean lies within");
    for (const auto& [share, label] :
         {std::pair{1e-6, "1e-6"}, std::pair{1e-4, "1e-4"}, std::pair{0.01, "0.01"}, std::pair{0.5, "0.5"},
          std::pair{0.99, "0.99"}, std::pair{0.9999, "0.9999"}, std::pair{1.0 - 1e-6, "1 - 1e-6"}}) {
        out += line(x(share), kTop, x(share), kTop + kSide, "stroke=\"#ddd\"");
        out += line(kLeft, y(share), kLeft + kSide, y(share), "stroke=\"#ddd\"");
        out += text_at(x(share), kTop + kSide + 16.0, kCentred, label);
        out += text_at(kLeft - 6.0, y(share) + 4.0, kRightBound, label);
    }
    out += line(kLeft, kTop + kSide, kLeft + kSide, kTop, "stroke=\"#888\"");
    out += text_at(kLeft + 0.5 * kSide, kTop + kSide + 38.0, kCentred, "mean probability told");
    out += format("<g transform=\"translate(18 %.0f) rotate(-90)\">", kTop + 0.5 * kSide) +
           text_at(0.0, 0.0, kCentred, "share really lost") + "</g>\n";
    for (const Reliability::Bin& bin : reliability.bins()) {
        if (bin.lost.of == 0) continue;
        const kurbel::Interval interval = bin.lost.interval();
        const char* colour = bin.holds() ? kOurs : kFails;
        const double at = x(bin.mean_probability());
        out += line(at, y(interval.low), at, y(interval.high),
                    format("stroke=\"%s\" stroke-width=\"1.5\"", colour).c_str());
        out += format("<circle cx=\"%.1f\" cy=\"%.1f\" r=\"3\" fill=\"%s\"><title>%lld of %lld</title></circle>\n", at,
                      y(bin.lost.rate()), colour, static_cast<long long>(bin.lost.count),
                      static_cast<long long>(bin.lost.of));
    }
    return out + "</svg>\n";
}

}  // namespace kurbel_detection
