// Evidence as tables and terms. Works on any answer: what a study will write one day is shown without a change here.
#include <algorithm>
#include <cmath>

#include "study/report/part.hpp"
#include "text/text.hpp"

namespace kurbel::study::report {

namespace {

using text::format;

constexpr std::size_t kMostRows = 40;
constexpr std::size_t kProse = 34;  // a longer text wants a line of its own

bool ends_with(const std::string& text, const std::string& end) {
    return text.size() >= end.size() && text.compare(text.size() - end.size(), end.size(), end) == 0;
}

/// "rate_low" as "rate low", "mean_rpm" as "mean, rpm"; some as a person would ask for them.
std::string words(const std::string& key) {
    constexpr const char* kKnown[][2] = {{"common_for", "such a pattern is common for"},
                                         {"next", "what would separate the causes"},
                                         {"more_seconds", "more seconds needed for a decision"},
                                         {"p", "p, this test alone"},
                                         {"p_adjusted", "p, all tests together"}};
    for (const auto& [known, told_as] : kKnown)
        if (key == known) return told_as;
    constexpr const char* kUnits[][2] = {{"_rpm", "rpm"}, {"_s", "s"},   {"_deg", "degrees"}, {"_c", "degrees C"},
                                         {"_j", "J"},     {"_hz", "Hz"}, {"_bar", "bar"},     {"_kmh", "km/h"}};
    std::string stem = key;
    std::string unit;
    for (const auto& [end, name] : kUnits)
        if (ends_with(key, end) && key.size() > std::string(end).size()) {
            stem = key.substr(0, key.size() - std::string(end).size());
            unit = std::string(", ") + name;
        }
    std::replace(stem.begin(), stem.end(), '_', ' ');
    return stem + unit;
}

/// Shares are told in percent.
bool is_share(const std::string& key) {
    return key == "rate" || key.rfind("rate_", 0) == 0 || ends_with(key, "_rate") || key == "share" ||
           ends_with(key, "_share");
}

std::string number_text(double value, const std::string& key) {
    if (is_share(key)) return text::percent(value);
    if (value != 0.0 && (std::fabs(value) < 1e-3 || std::fabs(value) >= 1e6)) return format("%.2e", value);
    if (std::fabs(value) >= 100.0) return format("%.0f", value);
    return format("%.3g", value);
}

std::string value_text(const Json& value, const std::string& key) {
    if (value.is_null()) return "\u2013";
    if (value.is_boolean()) return value.get<bool>() ? "yes" : "no";
    if (value.is_number_integer()) return std::to_string(value.get<std::int64_t>());
    if (value.is_number()) return number_text(value.get<double>(), key);
    if (value.is_string()) return value.get<std::string>();
    if (!value.is_array()) return "";
    std::string list;
    for (const Json& item : value) list += (list.empty() ? "" : ", ") + value_text(item, key);
    return list.empty() ? "none" : list;
}

bool is_table(const Json& value) {
    return value.is_array() && !value.empty() &&
           std::all_of(value.begin(), value.end(), [](const Json& row) { return row.is_object(); });
}

/// Rows whose texts are sentences rather than words.
bool is_prose(const Json& rows) {
    for (const Json& row : rows)
        for (const auto& [key, value] : row.items())
            if (value.is_string() && value.get_ref<const std::string&>().size() > kProse) return true;
    return false;
}

std::vector<std::string> columns_of(const Json& rows) {
    std::vector<std::string> columns;
    for (const Json& row : rows)
        for (const auto& [key, value] : row.items())
            if (std::find(columns.begin(), columns.end(), key) == columns.end()) columns.push_back(key);
    const auto unknown = [&](const std::string& column) {
        return std::all_of(rows.begin(), rows.end(),
                           [&](const Json& row) { return !row.contains(column) || row[column].is_null(); });
    };
    columns.erase(std::remove_if(columns.begin(), columns.end(), unknown), columns.end());
    return columns;
}

bool has(const std::vector<std::string>& columns, const std::string& name) {
    return std::find(columns.begin(), columns.end(), name) != columns.end();
}

/// "x_low" or "x_high" of a pair that is told as one column.
bool is_bound(const std::vector<std::string>& columns, const std::string& column) {
    for (const char* end : {"_low", "_high"}) {
        if (!ends_with(column, end)) continue;
        const std::string stem = column.substr(0, column.size() - std::string(end).size());
        if (has(columns, stem + "_low") && has(columns, stem + "_high")) return true;
    }
    return (column == "low" || column == "high") && has(columns, "low") && has(columns, "high");
}

std::string interval_text(const Json& row, const std::string& low, const std::string& high) {
    if (!row.contains(low) || !row.contains(high) || !row[low].is_number() || !row[high].is_number()) return "\u2013";
    if (is_share(low)) return text::percent_range(row[low].get<double>(), row[high].get<double>());
    return number_text(row[low].get<double>(), low) + " to " + number_text(row[high].get<double>(), high);
}

struct Column {
    std::string title;
    std::string key;   // of the value, or of the lower bound
    std::string high;  // of the upper bound; empty for a value
};

std::vector<Column> told(const std::vector<std::string>& columns) {
    std::vector<Column> list;
    for (const std::string& column : columns) {
        if (!is_bound(columns, column)) {
            list.push_back({words(column), column, ""});
            continue;
        }
        if (!ends_with(column, "low")) continue;
        const std::string stem = column == "low" ? "" : column.substr(0, column.size() - 4);
        const std::string range = stem == "covered" ? "covered"
                                  : stem.empty()    ? "interval"
                                                    : words(stem) + ", interval";
        list.push_back({range, column, stem.empty() ? "high" : stem + "_high"});
    }
    return list;
}

std::string cell(const Json& row, const Column& column) {
    if (!column.high.empty()) return interval_text(row, column.key, column.high);
    return row.contains(column.key) ? value_text(row[column.key], column.key) : "";
}

std::string table_html(const std::string& caption, const Json& rows) {
    const std::vector<Column> columns = told(columns_of(rows));
    if (columns.empty()) return "";
    std::string html = "<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"" + escaped(caption) +
                       "\">\n<table>\n<caption>" + escaped(caption) + "</caption>\n<thead><tr>";
    for (const Column& column : columns) html += "<th scope=\"col\">" + escaped(column.title) + "</th>";
    html += "</tr></thead>\n<tbody>\n";
    std::size_t shown = 0;
    for (const Json& row : rows) {
        if (++shown > kMostRows) break;
        html += "<tr>";
        for (std::size_t i = 0; i < columns.size(); ++i) {
            const std::string text = escaped(cell(row, columns[i]));
            html += i == 0 ? "<th scope=\"row\">" + (text.empty() ? "all" : text) + "</th>" : "<td>" + text + "</td>";
        }
        html += "</tr>\n";
    }
    html += "</tbody>\n</table>\n</div>\n";
    if (rows.size() > kMostRows)
        html += "<p class=\"aside\">" + std::to_string(rows.size() - kMostRows) +
                " more rows stand in the folder&#8217;s own file.</p>\n";
    return html;
}

std::string prose_html(const std::string& caption, const Json& rows) {
    std::string html = "<p class=\"listed\">" + escaped(caption) + "</p>\n<ul class=\"prose\">\n";
    for (const Json& row : rows) {
        html += "<li>";
        bool first = true;
        for (const auto& [key, value] : row.items()) {
            if (value.is_null()) continue;
            const std::string text = escaped(value_text(value, key));
            html += first ? "<strong>" + text + "</strong>"
                          : "<br>" + (value.is_string() ? text : escaped(words(key)) + ": " + text);
            first = false;
        }
        html += "</li>\n";
    }
    return html + "</ul>\n";
}

std::string capital(std::string text) {
    if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
    return text;
}

/// Terms with a value each, of one object.
std::string terms_html(const Json& object) {
    std::vector<std::string> keys;
    for (const auto& [key, value] : object.items()) keys.push_back(key);
    std::string html;
    for (const Column& column : told(keys)) {
        const Json& value = object[column.key];
        if (value.is_object() || is_table(value) || value.is_null()) continue;
        html += "<div><dt>" + escaped(capital(column.title)) + "</dt><dd>" + escaped(cell(object, column)) +
                "</dd></div>\n";
    }
    return html.empty() ? "" : "<dl class=\"terms\">\n" + html + "</dl>\n";
}

}  // namespace

std::string evidence_html(const Json& evidence) {
    std::string prose;
    std::string figures;
    for (const auto& [key, value] : evidence.items()) {
        const std::string caption = capital(words(key));
        if (is_table(value)) {
            if (is_prose(value))
                prose += prose_html(caption, value);
            else
                figures += table_html(caption, value);
        } else if (value.is_object() && !value.empty()) {
            const std::string inside = terms_html(value);
            if (!inside.empty()) figures += "<p class=\"listed\">" + escaped(caption) + "</p>\n" + inside;
        }
    }
    return prose + terms_html(evidence) + figures;  // what can be read before what must be looked up
}

}  // namespace kurbel::study::report
