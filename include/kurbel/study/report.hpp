// One page over what analyze and the studies wrote: verdicts first, evidence under them, cautions where they belong.
#pragma once

#include <string>
#include <vector>

namespace kurbel {

/// What goes into a report.
struct ReportOptions {
    std::vector<std::string>
        folders;        ///< of analyze (summary.json) and of studies (answer.json), in the order to be read
    std::string title;  ///< empty: "Misfire report"
    std::string note;   ///< vehicle, order number, date: one line below the title; may be empty
};

/// The page: HTML with style and pictures inside, no script, nothing fetched. Every text out of a file is escaped; pictures stand in
/// images of their own, where a browser runs nothing. The same folders give the same bytes. Throws WrongQuestion without
/// folders, read::InputError for a folder that is no result and no answer, or holds a file that cannot be used.
[[nodiscard]] std::string report_html(const ReportOptions& options);

/// Says early whether `path` can take a report: throws read::InputError where its folder is missing, where it is a folder, or
/// where something else than an earlier report stands there.
void check_report_path(const std::string& path);

/// Writes report_html to `path`, whole or not at all; an earlier report there is replaced, nothing else is. Throws as both.
void write_report(const ReportOptions& options, const std::string& path);

}  // namespace kurbel
