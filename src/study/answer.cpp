#include "kurbel/study/answer.hpp"

#include <fstream>
#include <nlohmann/json.hpp>

#include "kurbel/core/version.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/read/output_folder.hpp"
#include "text/text.hpp"

namespace kurbel {

namespace {

void write_whole(const std::filesystem::path& path, const std::string& text) {
    std::ofstream stream(path, std::ios::binary | std::ios::trunc);
    stream << text;
    stream.close();
    if (!stream) throw read::InputError(path.string(), 0, "cannot be written");
}

}  // namespace

std::string answer_json(const Answer& answer) {
    using Json = nlohmann::ordered_json;
    const Json evidence = Json::parse(answer.evidence, nullptr, false);
    if (!evidence.is_object()) throw std::invalid_argument("evidence: is no JSON object");
    Json json;
    json["study"] = answer.study;
    json["question"] = answer.question;
    json["verdict"] = answer.verdict;
    json["sentence"] = answer.sentence;
    json["evidence"] = evidence;
    json["cautions"] = answer.cautions;
    json["version"] = KURBEL_VERSION_STRING;
    // A folder's name may hold bytes that are no UTF-8; they must not stop the answer.
    return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::string answer_text(const Answer& answer, std::size_t width) {
    std::string text = text::wrapped(answer.sentence, width, 0) + "\n";
    if (!answer.table.empty()) text += "\n" + answer.table;
    if (!answer.cautions.empty()) text += "\nCautions\n";
    for (const std::string& caution : answer.cautions) text += text::wrapped("- " + caution, width, 2) + "\n";
    return text;
}

void save_answer(const Answer& answer, const std::string& folder) {
    const std::string json = answer_json(answer);
    read::OutputFolder output(folder, read::answer_folder_kind());
    if (!answer.picture.empty()) write_whole(output.path() / "picture.svg", answer.picture);
    write_whole(output.path() / "answer.json", json);
    output.commit();
}

}  // namespace kurbel
