#include "command/study_command.hpp"

#include <iostream>

#include "command/command.hpp"
#include "command/progress.hpp"
#include "kurbel/read/output_folder.hpp"

namespace kurbel::command {

void add_answer_folder(CLI::App& command, std::string& out) {
    command
        .add_option("--out", out,
                    "Write answer.json and picture.svg there; an earlier answer is replaced, any other\n"
                    "folder that holds files is refused. Without it, only the answer on the terminal")
        ->type_name("FOLDER");
}

JudgedRecording judge(const std::string& folder) {
    ProgressLine progress("reading " + folder);
    return judge_folder(folder, Settings{}, [&](double share) { progress.tell(share); });
}

void answer_into(const std::string& out, const std::function<Answer()>& study) {
    if (!out.empty()) read::check_output_folder(out, read::answer_folder_kind());
    Answer answer;
    try {
        answer = study();
    } catch (const WrongQuestion& error) {
        throw WrongCall(error.what());
    }
    if (!out.empty()) save_answer(answer, out);
    std::cout << answer_text(answer);
    if (!out.empty())
        std::cout << "\nWritten to " << out << ": answer.json" << (answer.picture.empty() ? "" : ", picture.svg")
                  << "\n";
}

}  // namespace kurbel::command
