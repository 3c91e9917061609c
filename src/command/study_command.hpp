// What the commands of the studies share: options, how an answer is told, where it is written.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <string>

#include "kurbel/study/answer.hpp"
#include "kurbel/study/judged_recording.hpp"

namespace kurbel::command {

/// Adds --out FOLDER, which takes answer.json and picture.svg.
void add_answer_folder(CLI::App& command, std::string& out);

/// The judged firings of the recording in `folder`, with a progress line on a terminal. Throws read::InputError.
[[nodiscard]] JudgedRecording judge(const std::string& folder);

/// The body of a study's command: says early whether `out` (may be empty) can be written, asks the study, prints sentence,
/// table and cautions, and writes the folder. A WrongQuestion of the study becomes a WrongCall.
void answer_into(const std::string& out, const std::function<Answer()>& study);

}  // namespace kurbel::command
