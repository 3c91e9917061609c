// What one folder brings to the report. Inside the library only.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace kurbel::study::report {

using Json = nlohmann::ordered_json;

/// What a verdict means for the reader. Shown as a word and a sign, never by colour alone.
enum class Tone { fault, clear, open, finding };

/// A picture out of a file.
struct Picture {
    std::string svg;
    std::string alt;
};

/// One folder's answer.
struct Part {
    std::string folder;   ///< its own name, without the path
    std::string heading;  ///< what was done: "Exchange of a part"
    std::string question;
    std::string verdict;  ///< the study's word
    Tone tone = Tone::finding;
    std::string sentence;
    Json evidence;  ///< an object
    std::vector<std::string> warnings;
    std::vector<std::string> cautions;
    std::vector<Picture> pictures;
    bool analysis = false;  ///< evidence is a summary.json
};

/// Reads a folder of analyze or of a study. Throws read::InputError.
[[nodiscard]] Part load_part(const std::string& folder);

/// Text as HTML wants it, inside elements and quoted attributes.
[[nodiscard]] std::string escaped(const std::string& text);

/// Evidence as HTML: lists of like objects as tables, the rest as terms and values.
[[nodiscard]] std::string evidence_html(const Json& evidence);
/// The same for a summary.json: cylinders, codes, what was not judged, the recording.
[[nodiscard]] std::string summary_html(const Json& summary);

/// An image element that holds the picture.
[[nodiscard]] std::string picture_html(const Picture& picture);

/// All of the page's style.
[[nodiscard]] const char* style() noexcept;

}  // namespace kurbel::study::report
