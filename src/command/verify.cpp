// kurbel verify: is the misfire of a repaired cylinder gone?
#include <memory>
#include <optional>

#include "command/command.hpp"
#include "command/study_command.hpp"
#include "kurbel/study/verify_recording.hpp"

namespace kurbel::command {

namespace {

struct VerifyCall {
    std::string recording;
    std::string before;
    int cylinder = 0;
    VerifyOptions options;
    std::string out;
};

Answer ask(const VerifyCall& call) {
    const JudgedRecording recording = judge(call.recording);
    std::optional<JudgedRecording> before;
    if (!call.before.empty()) before = judge(call.before);
    return study_verify(recording, call.cylinder, call.options, before ? &*before : nullptr);
}

}  // namespace

void add_verify(CLI::App& app) {
    CLI::App* command = app.add_subcommand("verify", "Say whether the misfire of a repaired cylinder is gone");
    const auto call = std::make_shared<VerifyCall>();
    command->add_option("RECORDING", call->recording, "Recording made after the repair")
        ->required()
        ->type_name("FOLDER|FILE");
    command->add_option("--cylinder", call->cylinder, "The cylinder that was repaired")->required()->type_name("N");
    command
        ->add_option("--limit", call->options.limit_percent,
                     "Rate from which the repair has failed, in percent of the cylinder's firings (default 1)")
        ->type_name("PERCENT");
    command
        ->add_option("--confidence", call->options.confidence_percent,
                     "Either error stays below 100 minus this, in percent (default 95)")
        ->type_name("PERCENT");
    command
        ->add_option("--before", call->before,
                     "Recording with the fault: how its misfires cluster, and under which conditions\n"
                     "they came that RECORDING did not meet")
        ->type_name("FOLDER|FILE");
    add_answer_folder(*command, call->out);
    command->footer(
        "Verdicts: gone, remains, undecided.\n"
        "Example: kurbel verify repaired --cylinder 4 --before before --out answer\n\n" +
        std::string(kStatuses));
    command->callback([call] { answer_into(call->out, [&] { return ask(*call); }); });
}

}  // namespace kurbel::command
