// kurbel pattern: where and when an engine misfires.
#include "kurbel/study/pattern.hpp"

#include <memory>

#include "command/command.hpp"
#include "command/study_command.hpp"

namespace kurbel::command {

namespace {

struct PatternCall {
    std::vector<std::string> recordings;
    std::string out;
};

void run_pattern(const PatternCall& call) {
    answer_into(call.out, [&] {
        std::vector<JudgedRecording> judged;
        for (const std::string& folder : call.recordings) judged.push_back(judge(folder));
        return pattern(judged);
    });
}

}  // namespace

void add_pattern(CLI::App& app) {
    CLI::App* command = app.add_subcommand(
        "pattern", "Say under which conditions an engine misfires, and how misfires follow one another");
    const auto call = std::make_shared<PatternCall>();
    command
        ->add_option("RECORDING", call->recordings,
                     "Folders with recording.toml and the edges. Several recordings of one engine, at other\n"
                     "speeds and loads, are compared together")
        ->required()
        ->type_name("FOLDER|FILE ...");
    add_answer_folder(*command, call->out);
    command->footer(
        "Verdict: the pattern of the cylinder that misfires most: none, random, bursts, periodic,\n"
        "continuous or undecided.\n"
        "Example: kurbel pattern idle road --out my-pattern\n\n" +
        std::string(kStatuses));
    command->callback([call] { run_pattern(*call); });
}

}  // namespace kurbel::command
