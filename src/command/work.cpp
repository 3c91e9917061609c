// kurbel work: do all cylinders do the same work?
#include "kurbel/study/work.hpp"

#include <memory>

#include "command/command.hpp"
#include "command/study_command.hpp"

namespace kurbel::command {

namespace {

struct WorkCall {
    std::string recording;
    std::string out;
    WorkOptions options;
};

}  // namespace

void add_work(CLI::App& app) {
    CLI::App* command =
        app.add_subcommand("work", "Compare the cylinders' mean work and scatter while the engine runs");
    const auto call = std::make_shared<WorkCall>();
    command->add_option("RECORDING", call->recording, "Folder with a recording of the running engine")
        ->required()
        ->type_name("FOLDER|FILE");
    command
        ->add_option("--limit", call->options.limit_percent,
                     "Difference in percent of a cylinder's work that counts, 0.5 to 30 (default 2)")
        ->type_name("PERCENT");
    add_answer_folder(*command, call->out);
    command->footer(
        "Verdicts: even, uneven, undecided. A minute of idle tells a cylinder that does 5 % less than the one\n"
        "which fires a revolution later; against the others, speeds and loads that vary help.\n"
        "Example: kurbel work my-recording --out answer\n\n" +
        std::string(kStatuses));
    command->callback([call] {
        answer_into(call->out,
                    [&] { return study_work(read::read_recording(call->recording), call->recording, call->options); });
    });
}

}  // namespace kurbel::command
