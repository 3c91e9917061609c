// kurbel swap: did the misfire go with the part that was moved?
#include "kurbel/study/swap.hpp"

#include <algorithm>
#include <cctype>
#include <memory>

#include "command/command.hpp"
#include "command/study_command.hpp"

namespace kurbel::command {

namespace {

struct SwapCall {
    std::vector<std::string> words;  // BEFORE, AFTER, and what more of a ring follows --moved 4:1
    std::vector<std::string> more_before;
    std::vector<std::string> more_after;
    std::vector<std::string> moved;
    std::string out;
};

/// "1:3", whatever the numbers: a further part of a ring, not a folder.
bool is_move(const std::string& word) {
    const std::size_t colon = word.find(':');
    const auto digit = [](unsigned char c) { return std::isdigit(c) != 0; };
    return colon != std::string::npos && word.size() > 2 &&
           std::all_of(word.begin(), word.begin() + static_cast<std::ptrdiff_t>(colon), digit) &&
           std::all_of(word.begin() + static_cast<std::ptrdiff_t>(colon) + 1, word.end(), digit);
}

/// Rings may stand anywhere, also right before the folders, since a folder is not written 1:3.
void part_words(SwapCall& call) {
    const auto folders_end = std::stable_partition(call.words.begin(), call.words.end(),
                                                   [](const std::string& word) { return !is_move(word); });
    call.moved.insert(call.moved.end(), folders_end, call.words.end());
    call.words.erase(folders_end, call.words.end());
    if (call.words.size() != 2)
        throw WrongCall("give two recordings, BEFORE and AFTER (" + std::to_string(call.words.size()) +
                        " found); a further one needs --before or --after in front, and which part went where is "
                        "written as in --moved 4:1");
}

std::vector<JudgedRecording> judge_all(const std::string& first, const std::vector<std::string>& more) {
    std::vector<JudgedRecording> side{judge(first)};
    for (const std::string& folder : more) side.push_back(judge(folder));
    return side;
}

Answer ask(SwapCall call) {
    part_words(call);
    const std::vector<Move> moves = parse_moves(call.moved);
    const std::vector<JudgedRecording> before = judge_all(call.words[0], call.more_before);
    // A call that no engine could answer is told before the second side is read.
    static_cast<void>(moved_to(moves, before.front().config.engine.cylinders));
    return study_swap(before, judge_all(call.words[1], call.more_after), moves);
}

}  // namespace

void add_swap(CLI::App& app) {
    CLI::App* command =
        app.add_subcommand("swap", "Compare before and after parts were moved: did the misfire go with its part?");
    const auto call = std::make_shared<SwapCall>();
    command
        ->add_option("BEFORE AFTER", call->words,
                     "The recording made before the parts were moved, and the one made after")
        ->required()
        ->type_name("FOLDER|FILE")
        ->expected(-1);
    command
        ->add_option("--moved", call->moved,
                     "4:1 says that the part of cylinder 4 went to cylinder 1. A lone pair is an\n"
                     "exchange; rings are written 4:1 1:3 3:4")
        ->required()
        ->type_name("FROM:TO ...")
        ->expected(1)
        ->allow_extra_args(false)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    command->add_option("--before", call->more_before, "A further recording made before; may be repeated")
        ->type_name("FOLDER|FILE")
        ->expected(1)
        ->allow_extra_args(false)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    command->add_option("--after", call->more_after, "A further recording made after; may be repeated")
        ->type_name("FOLDER|FILE")
        ->expected(1)
        ->allow_extra_args(false)
        ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
    add_answer_folder(*command, call->out);
    command->footer(
        "Verdicts: followed, stayed, vanished, other, undecided. Only firings under similar conditions\n"
        "are compared: within 375 rpm, 20 % load, and the same warm-up state.\n"
        "Example: kurbel swap before after --moved 4:1 --out answer\n\n" +
        std::string(kStatuses));
    command->callback([call] { answer_into(call->out, [&] { return ask(*call); }); });
}

}  // namespace kurbel::command
