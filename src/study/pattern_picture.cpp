// picture.svg of the study of patterns: when each cylinder misfired, beside speed; below, the worst one's rate by condition.
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <sstream>
#include <unordered_set>

#include "study/pattern_rows.hpp"
#include "text/svg.hpp"
#include "text/text.hpp"

namespace kurbel::study {

namespace {

using text::format;
using text::svg::text_at;

constexpr double kWidth = 1000.0;
constexpr double kLeft = 150.0;
constexpr double kRight = 976.0;
constexpr double kRow = 30.0;
constexpr double kSpeedPanel = 70.0;
constexpr double kRatePanel = 190.0;
// Dark enough on white for thin marks; differ in lightness too, so that grey print keeps them apart.
constexpr const char* kInk = "#1d2733";
constexpr const char* kMark = "#8a2f5b";
constexpr const char* kCalm = "#3c6e71";

/// Recordings one behind the other on one axis of seconds.
class Timeline {
  public:
    explicit Timeline(const std::vector<JudgedRecording>& recordings) {
        for (const JudgedRecording& recording : recordings) {
            const bool empty = recording.events.empty();
            first_.push_back(empty ? 0.0 : recording.events.front().time_s);
            begin_.push_back(total_);
            total_ += empty ? 0.0 : recording.events.back().time_s - first_.back();
        }
        total_ = std::max(total_, 1e-3);
    }
    [[nodiscard]] double x(std::size_t recording, double time_s) const {
        return at(begin_[recording] + time_s - first_[recording]);
    }
    [[nodiscard]] double at(double seconds) const { return kLeft + seconds / total_ * (kRight - kLeft); }
    [[nodiscard]] double begin(std::size_t recording) const { return begin_[recording]; }
    [[nodiscard]] double total() const { return total_; }

  private:
    std::vector<double> first_;
    std::vector<double> begin_;
    double total_ = 0.0;
};

std::string style() {
    return format(
        "<style>text{font-family:'DejaVu Sans',Verdana,sans-serif;font-size:12px;fill:%s}"
        ".head{font-size:17px;font-weight:bold}.strong{font-weight:bold}.small{font-size:11px}"
        ".lane{fill:#f3f1ec}.hit{stroke:%s;stroke-width:1.6;fill:none}.speed{stroke:%s;stroke-width:1.4;fill:none}"
        ".axis{stroke:#777;fill:none}.grid{stroke:#ddd;fill:none}.reach{stroke:%s;stroke-width:2;fill:none}"
        ".calm{stroke:%s;stroke-width:2;fill:none}</style>\n",
        kInk, kMark, kCalm, kMark, kCalm);
}

/// Text in lines of at most `letters`; answers the y below it.
double paragraph(std::string& svg, double y, const std::string& text, std::size_t letters) {
    std::istringstream lines(text::wrapped(text, letters, 0));
    for (std::string line; std::getline(lines, line); y += 17.0) svg += text_at(14.0, y, "", line);
    return y;
}

bool belongs(const Event& event, const PatternRow& row) {
    if (row.cylinder > 0) return event.cylinder == row.cylinder;
    return event.cylinder == 0 &&
           std::minmax(event.candidates[0], event.candidates[1]) == std::minmax(row.candidates[0], row.candidates[1]);
}

/// A lane a cylinder with a stroke for every misfire. Strokes that would hide under another are left out.
std::string lane(const PatternRow& row, const std::vector<JudgedRecording>& recordings, const Timeline& time,
                 double y) {
    std::string svg = format("<rect class=\"lane\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>\n", kLeft, y,
                             kRight - kLeft, kRow - 6.0);
    svg += text_at(14.0, y + 11.0, "class=\"strong\"", row_name(row));
    svg += text_at(14.0, y + 24.0, "class=\"small\"",
                   std::to_string(row.misfires) + " of " + std::to_string(row.judged) + " judged");
    std::unordered_set<std::int64_t> drawn;
    std::string path;
    for (std::size_t r = 0; r < recordings.size(); ++r)
        for (const Event& event : recordings[r].events) {
            if (event.verdict != Verdict::misfire || !belongs(event, row)) continue;
            const double x = time.x(r, event.time_s);
            if (drawn.insert(std::llround(2.0 * x)).second) path += format("M%.1f %.1fv%.1f", x, y + 2.0, kRow - 10.0);
        }
    return path.empty() ? svg : svg + "<path class=\"hit\" d=\"" + path + "\"/>\n";
}

std::string speed_curve(const std::vector<JudgedRecording>& recordings, const Timeline& time, double y) {
    double low = std::numeric_limits<double>::max();
    double high = 0.0;
    for (const JudgedRecording& recording : recordings)
        for (const Event& event : recording.events)
            if (event.speed_rpm > 0.0) {
                low = std::min(low, event.speed_rpm);
                high = std::max(high, event.speed_rpm);
            }
    if (high <= 0.0) return "";
    const double step = text::svg::round_step(std::max(high - low, 100.0), 3.0);
    low = std::floor(low / step) * step;
    high = std::max(std::ceil(high / step) * step, low + step);
    const auto height = [&](double rpm) { return y + (high - rpm) / (high - low) * kSpeedPanel; };
    std::string svg;
    for (double rpm = low; rpm <= high + 0.5 * step; rpm += step) {
        svg += format("<path class=\"grid\" d=\"M%.1f %.1fH%.1f\"/>\n", kLeft, height(rpm), kRight);
        svg += text_at(kLeft - 8.0, height(rpm) + 4.0, "text-anchor=\"end\" class=\"small\"", format("%.0f", rpm));
    }
    svg += text_at(14.0, y + 0.5 * kSpeedPanel + 4.0, "class=\"strong\"", "speed / rpm");
    for (std::size_t r = 0; r < recordings.size(); ++r) {
        std::string path;
        double last = -1.0;
        for (const Event& event : recordings[r].events) {
            const double x = time.x(r, event.time_s);
            if (!(event.speed_rpm > 0.0) || x < last + 0.7) continue;
            path += format("%s%.1f %.1f", path.empty() ? "M" : "L", x, height(event.speed_rpm));
            last = x;
        }
        svg += "<path class=\"speed\" d=\"" + path + "\"/>\n";
        if (r > 0)
            svg += format("<path class=\"axis\" stroke-dasharray=\"3 3\" d=\"M%.1f %.1fv%.1f\"/>\n",
                          time.at(time.begin(r)), y, kSpeedPanel);
    }
    const double tick = text::svg::round_step(time.total(), 10.0);
    for (double at = 0.0; at <= time.total() + 1e-9; at += tick)
        svg += text_at(time.at(at), y + kSpeedPanel + 17.0, "text-anchor=\"middle\" class=\"small\"", format("%g", at));
    return svg + text_at(0.5 * (kLeft + kRight), y + kSpeedPanel + 33.0, "text-anchor=\"middle\" class=\"small\"",
                         recordings.size() > 1 ? "time / s, recordings one after another (dashed: where one ends)"
                                               : "time / s");
}

std::string title_of(const ConditionEffect& effect, bool since_start) {
    switch (effect.condition) {
        case Condition::speed: return "by speed / rpm";
        case Condition::load: return "by load / share of full";
        case Condition::coolant: return "by coolant / degrees C";
        case Condition::time: break;
    }
    return since_start ? "by time since start / s" : "by time / s";
}

std::string finding_of(const ConditionEffect& effect) {
    if (!effect.known) return effect.condition == Condition::time ? "not the same in all recordings" : "not measured";
    if (!effect.varied) return "hardly changed";
    if (std::isnan(effect.p)) return "too few misfires to test";
    if (!effect.matters()) return "no dependence shown";
    return effect.lean == Lean::peaks ? "matters: highest in between" : std::string("matters: ") + name(effect.lean);
}

/// Rate by range of one condition: a mark with its 95 % interval over each range.
std::string rate_panel(const ConditionEffect& effect, bool since_start, double most, double x, double y, double width) {
    std::string svg = text_at(x, y - 24.0, "class=\"strong\"", title_of(effect, since_start));
    svg += text_at(x, y - 8.0, "class=\"small\"", finding_of(effect));
    svg += format("<path class=\"axis\" d=\"M%.1f %.1fH%.1f\"/>\n", x, y + kRatePanel, x + width);
    if (!effect.varied) return svg;
    const double low = effect.cells.front().low;
    const double span = effect.cells.back().high - low;
    const auto across = [&](double value) { return x + (value - low) / span * width; };
    const auto number = [&](double value) {
        return format(effect.condition == Condition::load ? "%.2f" : "%.0f", value);
    };
    const auto up = [&](double rate) { return y + (1.0 - std::min(rate / most, 1.0)) * kRatePanel; };
    double free_from = x - 20.0;
    for (const ConditionCell& cell : effect.cells) {
        const double middle = across(0.5 * (cell.low + cell.high));
        const char* kind = effect.matters() ? "reach" : "calm";
        svg += format("<path class=\"%s\" d=\"M%.1f %.1fV%.1fM%.1f %.1fH%.1fm0 -4v8M%.1f %.1fv8\"/>\n", kind, middle,
                      up(cell.interval.low), up(cell.interval.high), across(cell.low) + 2.0, up(cell.rate),
                      across(cell.high) - 2.0, across(cell.low) + 2.0, up(cell.rate) - 4.0);
        svg += format("<path class=\"axis\" d=\"M%.1f %.1fv5\"/>\n", across(cell.low), y + kRatePanel);
        if (across(cell.low) < free_from) continue;
        svg += text_at(across(cell.low), y + kRatePanel + 18.0, "text-anchor=\"middle\" class=\"small\"",
                       number(cell.low));
        free_from = across(cell.low) + 38.0;
    }
    if (x + width >= free_from)
        svg += text_at(x + width, y + kRatePanel + 18.0, "text-anchor=\"middle\" class=\"small\"",
                       number(effect.cells.back().high));
    return svg;
}

std::string rates(const Pattern& pattern, const PatternRow& row, double y) {
    double most = 0.0;
    for (const ConditionEffect& effect : row.conditions)
        for (const ConditionCell& cell : effect.cells) most = std::max(most, cell.interval.high);
    std::string svg = text_at(14.0, y, "class=\"strong\"", "Rate of misfires, " + row_name(row));
    svg += text_at(
        14.0, y + 17.0, "class=\"small\"",
        "level stroke: rate in that range; upright stroke: its 95 % interval; brackets end where the range ends");
    if (most <= 0.0) most = std::max(row.interval.high, 0.01);
    const double step = text::svg::round_step(100.0 * most, 5.0);
    most = std::min(std::ceil(100.0 * most / step) * step, 100.0) / 100.0;
    const double top = y + 66.0;
    for (double percent = 0.0; percent <= 100.0 * most + 1e-9; percent += step) {
        const double at = top + (1.0 - percent / 100.0 / most) * kRatePanel;
        svg += format("<path class=\"grid\" d=\"M60 %.1fH%.1f\"/>\n", at, kRight);
        svg += text_at(52.0, at + 4.0, "text-anchor=\"end\" class=\"small\"", format("%g %%", percent));
    }
    constexpr double kPanelWidth = 194.0;
    constexpr double kPanelStep = 242.0;
    double x = 64.0;
    for (const ConditionEffect& effect : row.conditions) {
        svg += rate_panel(effect, pattern.since_start, most, x, top, kPanelWidth);
        x += kPanelStep;
    }
    return svg;
}

}  // namespace

std::string pattern_picture(const Pattern& pattern, const std::vector<JudgedRecording>& recordings) {
    const Timeline time(recordings);
    std::string body = text_at(14.0, 28.0, "class=\"head\"", "When each cylinder misfired");
    double y = paragraph(body, 50.0, "One stroke a misfire.", 130) + 4.0;
    for (std::size_t i = 0; i < pattern.rows.size(); ++i) {
        const PatternRow& row = pattern.rows[i];
        if (row.all() || row.half > 1) continue;  // both halves of a pair share a lane
        body += lane(row, recordings, time, y);
        y += kRow + 4.0;
    }
    body += speed_curve(recordings, time, y + 10.0);
    y += kSpeedPanel + 76.0;
    const PatternRow& worst = pattern.rows[static_cast<std::size_t>(pattern.worst)];
    if (worst.misfires > 0) {
        body += rates(pattern, worst, y);
        y += 66.0 + kRatePanel + 34.0;
    }
    return text::svg::opening(kWidth, y) + style() + "<rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n" + body +
           "</svg>\n";
}

}  // namespace kurbel::study
