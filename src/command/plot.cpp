// plot.svg: severity of each firing over time, one panel a cylinder. Misfires differ from other firings by shape and by
// colour; the two colours are told apart by colour-blind readers too (Okabe & Ito, Color Universal Design, 2008).
#include <algorithm>
#include <array>
#include <cmath>
#include <unordered_set>

#include "command/outcome.hpp"
#include "command/svg.hpp"
#include "command/text.hpp"

namespace kurbel::command {

namespace {

constexpr double kWidth = 1000.0;
constexpr double kLeft = 130.0;
constexpr double kRight = 24.0;
constexpr double kTop = 92.0;
constexpr double kPanel = 112.0;
constexpr double kBetween = 14.0;
constexpr double kBottom = 56.0;
constexpr double kLowest = -0.6;  // severities beyond these limits are drawn on the panel's edge
constexpr double kHighest = 1.6;
constexpr const char* kFiredColour = "#0072b2";
constexpr const char* kMisfireColour = "#c44601";
constexpr const char* kUnjudgedColour = "#e3e3e3";

using svg::text_at;

/// The time axis: its span, its ticks and their unit.
class TimeAxis {
  public:
    TimeAxis(double first_s, double last_s) : first_s_(first_s), span_s_(std::max(last_s - first_s, 1e-3)) {
        constexpr double kMinute = 60.0;
        constexpr double kHour = 3600.0;
        if (span_s_ > 5.0 * kHour) {
            unit_s_ = kHour;
            unit_ = "h";
        } else if (span_s_ > 15.0 * kMinute) {
            unit_s_ = kMinute;
            unit_ = "min";
        }
        constexpr double kMostTicks = 10.0;
        step_ = svg::round_step(span_s_ / unit_s_, kMostTicks);
    }

    [[nodiscard]] double x(double time_s) const {
        return kLeft + (time_s - first_s_) / span_s_ * (kWidth - kLeft - kRight);
    }
    [[nodiscard]] const char* unit() const { return unit_; }

    /// Grid lines from `top` to `bottom` with their numbers below.
    [[nodiscard]] std::string draw(double top, double bottom) const {
        std::string svg;
        const double last = (first_s_ + span_s_) / unit_s_;
        for (double tick = std::ceil(first_s_ / unit_s_ / step_) * step_; tick <= last + 1e-9 * step_; tick += step_) {
            const double at = x(tick * unit_s_);
            svg += format("<path d=\"M%.1f %.1fV%.1f\" class=\"grid\"/>\n", at, top, bottom);
            svg += text_at(at, bottom + 18.0, "text-anchor=\"middle\"",
                           format("%.6g", std::abs(tick) < 1e-9 * step_ ? 0.0 : tick));
        }
        return svg;
    }

  private:
    double first_s_;
    double span_s_;
    double unit_s_ = 1.0;
    double step_ = 1.0;
    const char* unit_ = "s";
};

/// Marks of one kind, as one path. A mark that would hide under one already drawn there is left out, so that a long
/// recording makes no larger picture than a short one.
class Marks {
  public:
    explicit Marks(double cell) : cell_(cell) {}

    void add(double x, double y, const char* shape) {
        const auto column = static_cast<std::uint32_t>(x / cell_);
        const auto row = static_cast<std::uint32_t>(y / cell_);
        if (drawn_.insert((static_cast<std::uint64_t>(column) << 32) | row).second)
            path_ += format("M%.1f %.1f%s", x, y, shape);
    }
    [[nodiscard]] std::string draw(const char* name) const {
        return path_.empty() ? "" : format("<path class=\"%s\" d=\"", name) + path_ + "\"/>\n";
    }

  private:
    double cell_;
    std::unordered_set<std::uint64_t> drawn_;
    std::string path_;
};

/// Grey bands over stretches of unjudged firings, with the reason where it fits.
class Bands {
  public:
    Bands(double top, double bottom) : top_(top), bottom_(bottom) {}

    void unjudged(double x, Reason reason) {
        if (open_ && reason != reason_) close(x);
        if (!open_) start_ = x;
        open_ = true;
        reason_ = reason;
        last_ = x;
    }
    void judged(double x) {
        if (open_) close(x);
    }
    [[nodiscard]] std::string draw() {
        if (open_) close(last_ + 2.0);
        return bands_ + labels_;
    }

  private:
    void close(double x) {
        constexpr double kLeastWidth = 0.6;
        constexpr double kLabelWidth = 70.0;
        const double width = std::max(std::min(x, kWidth - kRight) - start_, kLeastWidth);
        open_ = false;
        bands_ += format("<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" fill=\"%s\"/>\n", start_, top_,
                         width, bottom_ - top_, kUnjudgedColour);
        if (width > kLabelWidth)
            labels_ += text_at(start_ + 0.5 * width, bottom_ - 6.0, "text-anchor=\"middle\" class=\"small\"",
                               std::string("unjudged: ") + name(reason_));
    }

    double top_;
    double bottom_;
    bool open_ = false;
    double start_ = 0.0;
    double last_ = 0.0;
    Reason reason_ = Reason::none;
    std::string bands_;
    std::string labels_;
};

bool belongs(const Event& event, const TallyRow& row) {
    if (row.cylinder > 0) return event.cylinder == row.cylinder;
    if (event.cylinder > 0) return false;
    return std::minmax(event.candidates[0], event.candidates[1]) == std::minmax(row.candidates[0], row.candidates[1]);
}

double y_of(double severity, double top) {
    const double clipped = std::clamp(severity, kLowest, kHighest);
    return top + (kHighest - clipped) / (kHighest - kLowest) * kPanel;
}

std::string panel_frame(const TallyRow& row, double top) {
    std::string svg = format("<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" class=\"frame\"/>\n", kLeft,
                             top, kWidth - kLeft - kRight, kPanel);
    for (const double level : {0.0, 1.0}) {
        const double y = y_of(level, top);
        svg += format("<path d=\"M%.1f %.1fH%.1f\" class=\"level\"/>\n", kLeft, y, kWidth - kRight);
        svg += text_at(kLeft - 8.0, y + 4.0, "text-anchor=\"end\"", format("%g", level));
    }
    svg += text_at(14.0, top + 0.5 * kPanel - 6.0, "class=\"strong\"", "cylinder " + cylinder_text(row));
    svg += text_at(14.0, top + 0.5 * kPanel + 12.0, "class=\"small\"", counted(row.misfires, "misfire"));
    svg += text_at(14.0, top + 0.5 * kPanel + 27.0, "class=\"small\"", "of " + std::to_string(row.judged) + " judged");
    return svg;
}

std::string panel(const Outcome& outcome, const TallyRow& row, const TimeAxis& axis, double top) {
    constexpr double kFiredCell = 1.5;
    constexpr double kMisfireCell = 3.0;
    Bands bands(top, top + kPanel);
    Marks fired(kFiredCell);
    Marks misfires(kMisfireCell);
    for (const Event& event : outcome.events) {
        if (!belongs(event, row)) continue;
        const double x = axis.x(event.time_s);
        if (event.verdict == Verdict::unjudged) {
            bands.unjudged(x, event.reason);
            continue;
        }
        bands.judged(x);
        const double y = y_of(std::isnan(event.severity) ? 0.0 : event.severity, top);
        if (event.verdict == Verdict::misfire)
            misfires.add(x - 4.0, y - 4.0, "l8 8m0 -8l-8 8");
        else
            fired.add(x, y, "h0");
    }
    return bands.draw() + panel_frame(row, top) + fired.draw("fired") + misfires.draw("misfire");
}

std::string style() {
    return format(
        "<style>text{font-family:'DejaVu Sans',Verdana,Arial,sans-serif;font-size:12px;fill:#222}"
        ".title{font-size:17px;font-weight:bold}.strong{font-weight:bold;font-size:13px}.small{font-size:11px;fill:#"
        "555}"
        ".frame{fill:none;stroke:#999}.level{stroke:#777;stroke-dasharray:4 4;fill:none}.grid{stroke:#eee;fill:none}"
        ".fired{stroke:%s;stroke-width:2.6;stroke-linecap:round;stroke-opacity:0.6;fill:none}"
        ".misfire{stroke:%s;stroke-width:2;stroke-linecap:round;fill:none}</style>\n",
        kFiredColour, kMisfireColour);
}

std::string legend() {
    constexpr double kY = 68.0;
    std::string svg = format("<path class=\"fired\" d=\"M%.1f %.1fh0m5 3h0m5 -4h0\"/>\n", kLeft, kY - 4.0);
    svg += text_at(kLeft + 18.0, kY, "", "fired");
    svg += format("<path class=\"misfire\" d=\"M%.1f %.1fl8 8m0 -8l-8 8\"/>\n", kLeft + 80.0, kY - 8.0);
    svg += text_at(kLeft + 96.0, kY, "", "misfire");
    svg += format("<rect x=\"%.1f\" y=\"%.1f\" width=\"16\" height=\"12\" fill=\"%s\"/>\n", kLeft + 170.0, kY - 10.0,
                  kUnjudgedColour);
    svg += text_at(kLeft + 192.0, kY, "", "not judged");
    svg += text_at(kWidth - kRight, kY, "text-anchor=\"end\" class=\"small\"",
                   "severity: 0 = work as expected, 1 = no combustion at all");
    return svg;
}

}  // namespace

std::string plot_svg(const Outcome& outcome) {
    const double panels = static_cast<double>(std::max<std::size_t>(outcome.table.lines.size(), 1));
    const double bottom = kTop + panels * kPanel + (panels - 1.0) * kBetween;
    const double height = bottom + kBottom;
    std::string svg = svg::opening(kWidth, height);
    svg += style() + "<rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n";
    svg += text_at(14.0, 26.0, "class=\"title\"", "Severity of each firing");
    svg += text_at(14.0, 46.0, "", verdict_sentence(outcome));
    svg += legend();
    const bool empty = outcome.events.empty();
    const TimeAxis axis(empty ? 0.0 : outcome.events.front().time_s, empty ? 1.0 : outcome.events.back().time_s);
    svg += axis.draw(kTop, bottom);
    double top = kTop;
    for (const CylinderLine& line : outcome.table.lines) {
        svg += panel(outcome, line.counts, axis, top);
        top += kPanel + kBetween;
    }
    svg += text_at(0.5 * (kLeft + kWidth - kRight), height - 12.0, "text-anchor=\"middle\"",
                   std::string("time in the recording / ") + axis.unit());
    return svg + "</svg>\n";
}

}  // namespace kurbel::command
