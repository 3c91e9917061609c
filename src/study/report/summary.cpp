// summary.json as a person reads it: cylinders with a bar each, codes, what was not judged, the recording.
#include <cmath>

#include "study/report/part.hpp"
#include "text/text.hpp"

namespace kurbel::study::report {

namespace {

using text::format;

double number_in(const Json& row, const char* key) {
    const auto found = row.find(key);
    return found != row.end() && found->is_number() ? found->get<double>() : std::nan("");
}

std::string count_in(const Json& row, const char* key) {
    const double value = number_in(row, key);
    return std::isnan(value) ? "unknown" : format("%.0f", value);
}

std::string cylinder_name(const Json& row) {
    const auto number = row.find("cylinder");
    if (number != row.end() && number->is_number_integer()) return std::to_string(number->get<std::int64_t>());
    std::string name;
    const auto candidates = row.find("candidates");
    if (candidates != row.end() && candidates->is_array())
        for (const Json& candidate : *candidates)
            if (candidate.is_number_integer())
                name += (name.empty() ? "" : " or ") + std::to_string(candidate.get<std::int64_t>());
    return name.empty() ? "unknown" : name;
}

/// Rate as a bar with its interval as a bracket; `most` fills the width. The figures stand beside it, so it is decoration to a
/// reader of the page by ear.
std::string bar(const Json& row, double most) {
    constexpr double kWidth = 150.0;
    const double rate = number_in(row, "rate");
    const double low = number_in(row, "rate_low");
    const double high = number_in(row, "rate_high");
    if (std::isnan(rate) || std::isnan(low) || std::isnan(high) || !(most > 0.0)) return "";
    const auto x = [&](double value) { return 2.0 + kWidth * std::fmin(std::fmax(value / most, 0.0), 1.0); };
    return format(
        "<svg class=\"bar\" viewBox=\"0 0 154 16\" width=\"154\" height=\"16\" aria-hidden=\"true\">"
        "<path class=\"fill\" d=\"M2 4H%.1fV12H2Z\"/>"
        "<path class=\"reach\" d=\"M%.1f 1v14M%.1f 8H%.1fM%.1f 1v14\"/></svg>",
        std::fmax(x(rate), 2.5), x(low), x(low), x(high), x(high));
}

std::string cylinders_html(const Json& rows) {
    double most = 0.0;
    for (const Json& row : rows) most = std::fmax(most, number_in(row, "rate_high"));
    std::string html =
        "<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"Misfires of each cylinder\">\n<table>\n"
        "<caption>Misfires of each cylinder</caption>\n<thead><tr><th scope=\"col\">cylinder</th><th "
        "scope=\"col\">judged</th>"
        "<th scope=\"col\">misfires</th><th scope=\"col\">rate</th><th scope=\"col\">95 % interval</th>"
        "<th scope=\"col\">mean severity</th><th scope=\"col\">rate and interval, drawn</th></tr></thead>\n<tbody>\n";
    for (const Json& row : rows) {
        const double severity = number_in(row, "mean_severity");
        html += "<tr><th scope=\"row\">" + escaped(cylinder_name(row)) + "</th><td>" + count_in(row, "judged") +
                "</td><td>" + count_in(row, "misfires") + "</td><td>" + text::percent(number_in(row, "rate")) +
                "</td><td>" + text::percent_range(number_in(row, "rate_low"), number_in(row, "rate_high")) +
                "</td><td>" + (std::isnan(severity) ? std::string("none to tell") : format("%.2f", severity)) +
                "</td><td>" + bar(row, most) + "</td></tr>\n";
    }
    return html +
           "</tbody>\n</table>\n</div>\n<p class=\"aside\">Severity of a misfire: 1 = no combustion at all, 0 = as "
           "much "
           "work as a healthy firing does. The interval holds the true rate with 95 % confidence.</p>\n";
}

std::string term(const std::string& name, const std::string& value) {
    return "<div><dt>" + escaped(name) + "</dt><dd>" + escaped(value) + "</dd></div>\n";
}

/// Values of a list or of an object as words.
std::string listed(const Json& json, const char* key) {
    std::string text;
    if (!json.contains(key)) return text;
    for (const auto& [name, value] : json[key].items()) {
        std::string item = value.is_string() ? value.get<std::string>() : value.is_number() ? value.dump() : "";
        if (json[key].is_object()) item += " " + name;
        text += (text.empty() ? "" : ", ") + item;
    }
    return text;
}

std::string object_number(const Json& json, const char* object, const char* key, const char* pattern) {
    if (!json.contains(object) || !json[object].is_object()) return "unknown";
    const double value = number_in(json[object], key);
    char text[64];
    std::snprintf(text, sizeof text, pattern, value);
    return std::isnan(value) ? "unknown" : text;
}

/// Whether the declared TDC was held against the motion; "" where an older summary does not say.
std::string tdc_checked(const Json& summary) {
    const auto offset = summary.find("tdc_offset");
    if (offset == summary.end() || !offset->is_object()) return "";
    const auto fits = offset->find("fits");
    if (fits == offset->end()) return "";
    if (!fits->is_boolean()) return "could not be checked in this recording";
    if (!fits->get<bool>()) return "contradicted by the motion, see the doubtful description above";
    return "checked: combustion fits it, or a multiple of " + object_number(summary, "tdc_offset", "period", "%.3g") +
           " degrees more or less";
}

}  // namespace

std::string summary_html(const Json& summary) {
    std::string html = cylinders_html(summary["cylinders"]);
    html += "<dl class=\"terms\">\n";
    const std::string codes = listed(summary, "codes");
    const auto doubt = summary.find("judged_but_for");
    const bool in_doubt = doubt != summary.end() && doubt->is_string();
    html += term(in_doubt ? "Trouble codes, should tdc1_deg prove right" : "Trouble codes that these misfires call for",
                 codes.empty() ? "none" : codes);
    if (const std::string checked = tdc_checked(summary); !checked.empty()) html += term("tdc1_deg", checked);
    if (const std::string unjudged = listed(summary, "unjudged"); !unjudged.empty())
        html += term("Firings not judged, by reason", unjudged);
    html += term("Recorded", object_number(summary, "recording", "seconds", "%.1f s") + " at " +
                                 object_number(summary, "recording", "mean_rpm", "%.0f rpm") + " on average");
    html += term("Teeth", object_number(summary, "sync", "teeth", "%.0f") + " placed; missing " +
                              object_number(summary, "sync", "missed", "%.0f") + ", too many " +
                              object_number(summary, "sync", "extra", "%.0f") + ", wheel lost " +
                              object_number(summary, "sync", "losses", "%.0f") + " times");
    return html + "</dl>\n";
}

}  // namespace kurbel::study::report
