// The pattern of the command line: one file a command, each offering one function that adds it to the program.
#pragma once

#include <CLI/CLI.hpp>
#include <stdexcept>

namespace kurbel::command {

/// Exit statuses of every command.
inline constexpr int kDone = 0;
inline constexpr int kWrongCall = 2;
inline constexpr int kWrongInput = 3;

/// The last lines of every help text.
inline constexpr const char* kStatuses =
    "Exit status: 0 done, whatever the verdict; 2 the call is wrong; 3 the input is wrong (the message\n"
    "names file, line and cause).";

/// Arguments that cannot go together; ends the program with kWrongCall. (read::InputError ends it with kWrongInput.)
class WrongCall : public std::runtime_error {
  public:
    using std::runtime_error::runtime_error;
};

/// Refuses numbers outside; without the type and range that the library beneath would write into the help, whose texts tell them.
template <class Number>
[[nodiscard]] CLI::Validator within(Number low, Number high) {
    return CLI::Range(low, high).description("");
}

/// Each adds its subcommand to `app`, with a callback that does the work and throws where it cannot.
void add_analyze(CLI::App& app);
void add_convert(CLI::App& app);
void add_learn_wheel(CLI::App& app);
void add_score(CLI::App& app);
void add_simulate(CLI::App& app);
void add_inspect(CLI::App& app);
void add_pattern(CLI::App& app);
void add_report(CLI::App& app);
void add_swap(CLI::App& app);
void add_verify(CLI::App& app);
void add_cranking(CLI::App& app);
void add_work(CLI::App& app);

}  // namespace kurbel::command
