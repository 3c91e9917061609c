// What every study gives: a question, a verdict, a sentence for a person, the figures behind it, cautions, a table, a picture.
#pragma once

#include <stdexcept>
#include <string>
#include <vector>

namespace kurbel {

/// The answer of one study. Text is UTF-8.
struct Answer {
    std::string study;                  ///< which study answered: "swap", "verify"
    std::string question;               ///< in one sentence, as a person would ask it
    std::string verdict;                ///< one of the study's words
    std::string sentence;               ///< the answer in one line for a person
    std::string table;                  ///< for a terminal of 100 letters: lines with their ends; may be empty
    std::string evidence = "{}";        ///< the figures behind it: a JSON object; unknown numbers are null
    std::vector<std::string> cautions;  ///< a sentence or two each, the most urgent first; see cautions.hpp
    std::string picture;                ///< an SVG document of its own; empty where there is nothing to draw
};

/// The question cannot be asked: of a cylinder that is not there, of a part exchanged with itself, with a limit of nothing. The
/// call is wrong, not a recording (that is a read::InputError). what() says what to do.
class WrongQuestion : public std::invalid_argument {
  public:
    using std::invalid_argument::invalid_argument;
};

/// answer.json: study, question, verdict, sentence, evidence, cautions, version; ends with a line end. Throws
/// std::invalid_argument where `evidence` is no JSON object.
[[nodiscard]] std::string answer_json(const Answer& answer);

/// The answer for a terminal: sentence, table, cautions; every line at most `width` letters where its words allow.
[[nodiscard]] std::string answer_text(const Answer& answer, std::size_t width = 100);

/// Writes answer.json, and picture.svg where there is a picture, into `folder`: whole or not at all. An earlier answer is
/// replaced, any other folder that holds files is refused. Throws read::InputError.
void save_answer(const Answer& answer, const std::string& folder);

}  // namespace kurbel
