// kurbel cranking: do all cylinders compress alike?
#include "kurbel/study/cranking.hpp"

#include <memory>

#include "command/command.hpp"
#include "command/study_command.hpp"

namespace kurbel::command {

namespace {

struct CrankingCall {
    std::string recording;
    std::string out;
    CrankingOptions options;
};

}  // namespace

void add_cranking(CLI::App& app) {
    CLI::App* command =
        app.add_subcommand("cranking", "Compare the cylinders' compression while the starter alone turns the engine");
    const auto call = std::make_shared<CrankingCall>();
    command->add_option("RECORDING", call->recording, "Folder with a recording of the starter turning the engine")
        ->required()
        ->type_name("FOLDER|FILE");
    command
        ->add_option("--limit", call->options.limit_percent,
                     "Percent below the best cylinder that still count as even, 1 to 60 (default 10)")
        ->type_name("PERCENT");
    add_answer_folder(*command, call->out);
    command->footer(
        "Before: disable fuel and ignition as the maker says, out of gear, throttle open, battery charged;\n"
        "five to ten seconds without a break.\n"
        "Verdicts: even, uneven, undecided. Each cylinder's pressure at TDC in percent of the best one's, as\n"
        "a gauge would show it; wear that all cylinders share does not show.\n"
        "Example: kurbel cranking my-recording --out answer\n\n" +
        std::string(kStatuses));
    command->callback([call] {
        answer_into(call->out, [&] {
            return study_cranking(read::read_recording(call->recording), call->recording, call->options);
        });
    });
}

}  // namespace kurbel::command
