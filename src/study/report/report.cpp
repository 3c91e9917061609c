#include "kurbel/study/report.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>

#include <unistd.h>

#include "kurbel/read/input_error.hpp"
#include "kurbel/study/answer.hpp"
#include "study/report/part.hpp"

namespace kurbel {

namespace {

namespace fs = std::filesystem;
using namespace study::report;

/// Tells an earlier report from anything else that may stand at its place.
constexpr const char* kMark = "<meta name=\"generator\" content=\"kurbel report\">";

struct Word {
    const char* css;
    const char* sign;
    const char* word;
};

Word word_of(Tone tone) {
    switch (tone) {
        case Tone::fault: return {"fault", "&#9650;", "fault"};
        case Tone::clear: return {"clear", "&#9679;", "clear"};
        case Tone::open: return {"open", "&#9671;", "open"};
        case Tone::finding: break;
    }
    return {"finding", "&#9632;", "finding"};
}

std::string tag(const Part& part) {
    const Word word = word_of(part.tone);
    return std::string("<span class=\"tag ") + word.css + "\"><span aria-hidden=\"true\">" + word.sign + "</span> " +
           word.word + "</span>";
}

/// What was done; with the folder's name where it was done more than once.
std::string named(const Part& part, const std::vector<Part>& parts) {
    const auto alike =
        std::count_if(parts.begin(), parts.end(), [&](const Part& other) { return other.heading == part.heading; });
    return alike > 1 ? part.heading + " (" + part.folder + ")" : part.heading;
}

std::string in_short(const std::vector<Part>& parts) {
    std::string html = "<section aria-labelledby=\"short\">\n<h2 id=\"short\">In short</h2>\n<ol class=\"short\">\n";
    for (std::size_t i = 0; i < parts.size(); ++i)
        html += "<li><div>" + tag(parts[i]) + "</div><div><a href=\"#part" + std::to_string(i + 1) + "\">" +
                escaped(named(parts[i], parts)) + "</a>: " + escaped(parts[i].sentence) + "</div></li>\n";
    return html +
           "</ol>\n<p class=\"aside\">fault: something is wrong; clear: nothing is; open: not decided yet; finding: a "
           "fact "
           "that is neither.</p>\n</section>\n";
}

/// The part's cautions. What an earlier part has said in full is said again by a link, so that no page of warnings buries the new one.
std::string care(const Part& part, std::vector<std::string>& said, bool& repeated) {
    std::string fresh;
    repeated = false;
    for (const std::string& caution : part.cautions) {
        if (std::find(said.begin(), said.end(), caution) != said.end()) {
            repeated = true;
            continue;
        }
        said.push_back(caution);
        fresh += "<li>" + escaped(caution) + "</li>\n";
    }
    return fresh;
}

std::string part_html(const Part& part, std::size_t number, std::vector<std::string>& said, std::size_t& first_care) {
    const std::string id = "part" + std::to_string(number);
    std::string html = "<section class=\"part\" aria-labelledby=\"" + id + "\">\n<h2 id=\"" + id + "\">" +
                       std::to_string(number) + ". " + escaped(part.heading) + "</h2>\n<p class=\"where\">" +
                       escaped(part.question) + " Folder: " + escaped(part.folder) + "</p>\n<p class=\"verdict\">" +
                       tag(part) + "<strong>" + escaped(part.verdict) + "</strong>. " + escaped(part.sentence) +
                       "</p>\n";
    for (const std::string& warning : part.warnings)
        html += "<div class=\"care\"><h3>Doubtful description</h3><p>" + escaped(warning) + "</p></div>\n";
    html += "<h3>Evidence</h3>\n";
    for (const Picture& picture : part.pictures) html += picture_html(picture);
    html += part.analysis ? summary_html(part.evidence) : evidence_html(part.evidence);
    bool repeated = false;
    const std::string fresh = care(part, said, repeated);
    if (!fresh.empty() && first_care == 0) first_care = number;
    if (!fresh.empty() || repeated) {
        html += "<div class=\"care\" id=\"care" + std::to_string(number) + "\"><h3>Cautions</h3>\n";
        if (!fresh.empty()) html += "<ul>\n" + fresh + "</ul>\n";
        if (repeated)
            html += "<p>The <a href=\"#care" + std::to_string(first_care) + "\">cautions of part " +
                    std::to_string(first_care) + "</a> and after hold here too.</p>\n";
        html += "</div>\n";
    }
    return html + "</section>\n";
}

}  // namespace

std::string report_html(const ReportOptions& options) {
    if (options.folders.empty())
        throw WrongQuestion("FOLDER: give at least one folder that kurbel analyze or a study wrote with --out");
    std::vector<Part> parts;
    for (const std::string& folder : options.folders) parts.push_back(load_part(folder));
    const std::string title = escaped(options.title.empty() ? "Misfire report" : options.title);
    std::string html = "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n" + std::string(kMark) +
                       "\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                       "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; "
                       "style-src 'unsafe-inline'\">\n<meta name=\"color-scheme\" content=\"light dark\">\n<title>" +
                       title + "</title>\n<style>" + style() + "</style>\n</head>\n<body>\n<header>\n<h1>" + title +
                       "</h1>\n";
    if (!options.note.empty()) html += "<p>" + escaped(options.note) + "</p>\n";
    html += "</header>\n<main>\n" + in_short(parts);
    std::vector<std::string> said;
    std::size_t first_care = 0;
    for (std::size_t i = 0; i < parts.size(); ++i) html += part_html(parts[i], i + 1, said, first_care);
    html +=
        "</main>\n<footer>\n<p class=\"aside\">A verdict is a measurement, not a licence: it says which cylinder does "
        "less "
        "work, not why. Local rules, the maker&#8217;s procedure and licensed practice come first.</p>\n"
        "<div class=\"sign\" aria-hidden=\"true\"><span>Vehicle, order</span><span>Date, "
        "name</span></div>\n</footer>\n</body>\n"
        "</html>\n";
    return html;
}

void check_report_path(const std::string& path) {
    std::error_code error;
    const fs::path target(path);
    if (fs::is_directory(target, error))
        throw read::InputError(path, 0, "is a folder; name a file, such as " + (target / "report.html").string());
    const fs::path folder = target.has_parent_path() ? target.parent_path() : fs::path(".");
    if (!fs::is_directory(folder, error)) throw read::InputError(folder.string(), 0, "is no folder; create it first");
    if (!fs::exists(target, error)) return;
    std::string head(512, '\0');
    if (fs::is_regular_file(target, error)) {  // a pipe would keep us waiting
        std::ifstream stream(target, std::ios::binary);
        stream.read(head.data(), static_cast<std::streamsize>(head.size()));
    }
    if (head.find(kMark) == std::string::npos)
        throw read::InputError(path, 0,
                               "is there already and is no report of kurbel; name another file, or remove it first");
}

void write_report(const ReportOptions& options, const std::string& path) {
    check_report_path(path);
    const std::string html = report_html(options);
    const fs::path temporary = path + ".part" + std::to_string(::getpid());
    std::ofstream stream(temporary, std::ios::binary | std::ios::trunc);
    stream << html;
    stream.close();
    std::error_code error;
    if (stream) fs::rename(temporary, path, error);
    if (!stream || error) {
        std::error_code ignored;
        fs::remove(temporary, ignored);
        throw read::InputError(path, 0, "cannot be written");
    }
}

}  // namespace kurbel
