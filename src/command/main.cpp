// kurbel: the command line. Takes the call apart, runs one command, and turns what went wrong into an exit status.
#include <cstdlib>
#include <exception>
#include <iostream>

#include "command/command.hpp"
#include "command/text.hpp"
#include "kurbel/core/version.hpp"
#include "kurbel/read/input_error.hpp"

namespace {

using namespace kurbel;

constexpr const char* kPurpose =
    "Reads crankshaft tooth timestamps and says for every firing how much work the cylinder did and\n"
    "whether it misfired.";

constexpr const char* kFooter =
    "A recording is a folder: recording.toml (engine and wheel), edges.csv (tooth times) and, if known,\n"
    "channels.csv (load, fuel cut).\n"
    "Example: kurbel analyze my-recording --out my-result --plot\n"
    "More about one command: kurbel COMMAND --help\n\n";

/// What follows the first occurrence of `mark`; all of it where there is none.
std::string after(const std::string& text, const std::string& mark) {
    const std::size_t at = text.find(mark);
    return at == std::string::npos ? text : text.substr(at + mark.size());
}

/// What was wrong with the call, in this program's words; those of the library beneath it speak of conversions and subcommands.
std::string what_was_wrong(const CLI::Error& error) {
    const std::string said = error.what();
    const std::string option = said.substr(0, said.find(':'));
    if (dynamic_cast<const CLI::ExtrasError*>(&error) != nullptr) return "not understood: " + after(said, ": ");
    if (dynamic_cast<const CLI::ConversionError*>(&error) != nullptr) {
        const std::string pair = after(said, "Could not convert: ");
        return pair.substr(0, pair.find(" = ")) + ": not a number: " + after(pair, " = ");
    }
    if (dynamic_cast<const CLI::ArgumentMismatch*>(&error) != nullptr) {
        std::string wanted = after(said, "required ");
        wanted = wanted.substr(0, wanted.find(" missing"));
        return option + " needs a value" + (wanted == said ? "" : ": " + option + " " + wanted);
    }
    if (dynamic_cast<const CLI::ValidationError*>(&error) != nullptr && said.find(" not in {") != std::string::npos) {
        std::string known = after(said, " not in {");
        known = known.substr(0, known.find('}'));
        for (std::size_t at = 0; (at = known.find(',', at)) != std::string::npos; at += 2) known.replace(at, 1, ", ");
        const std::string given = after(said, ": ");
        return option + ": must be one of " + known + ", not " + given.substr(0, given.find(" not in {"));
    }
    if (const std::string range = after(said, " not in range "); range != said) {
        const std::string given = after(said, "Value ");
        const std::string low = range.substr(0, range.find(" to "));
        const std::string high = after(range, " to ");
        return option +
               command::format(": must lie in %.6g to %.6g, not ", std::strtod(low.c_str(), nullptr),
                               std::strtod(high.c_str(), nullptr)) +
               given.substr(0, given.find(" not in range "));
    }
    return said == "A subcommand is required" ? "a command is required" : said;
}

/// The help of the command that was called, not that of the whole program.
std::string failure_text(const CLI::App* app, const CLI::Error& error) {
    const auto called = app->get_subcommands();
    return "kurbel: " + what_was_wrong(error) + "\nHelp: kurbel " +
           (called.empty() ? "" : called.front()->get_name() + " ") + "--help\n";
}

/// "analyze, score and simulate": every command there is.
std::string all_commands(const CLI::App& app) {
    const auto commands = app.get_subcommands([](const CLI::App*) { return true; });
    std::string text;
    for (std::size_t i = 0; i < commands.size(); ++i)
        text += (i == 0 ? "" : i + 1 == commands.size() ? " and " : ", ") + commands[i]->get_name();
    return text;
}

/// The command that was asked for, where no such command exists; else empty.
std::string unknown_command(const CLI::App& app, int argc, char** argv) {
    if (argc < 2 || argv[1][0] == '-' || argv[1][0] == '\0') return "";
    const auto same_name = [&](const CLI::App* command) { return command->get_name() == argv[1]; };
    return app.get_subcommands(same_name).empty() ? argv[1] : "";
}

int run(int argc, char** argv) {
    CLI::App app(kPurpose, "kurbel");
    app.set_version_flag("--version", std::string("kurbel ") + KURBEL_VERSION_STRING, "Print the version and exit");
    app.set_help_flag("-h,--help", "Print this help and exit");
    app.footer(kFooter + std::string(command::kStatuses));
    app.require_subcommand(1);
    app.failure_message(failure_text);
    command::add_analyze(app);
    command::add_convert(app);
    command::add_learn_wheel(app);
    command::add_score(app);
    command::add_simulate(app);
    command::add_inspect(app);
    command::add_pattern(app);
    command::add_report(app);
    command::add_swap(app);
    command::add_verify(app);
    command::add_cranking(app);
    command::add_work(app);
    app.get_formatter()->label("SUBCOMMAND", "COMMAND");
    app.get_formatter()->label("SUBCOMMANDS", "COMMANDS");
    app.get_formatter()->label("Subcommands", "Commands");
    app.get_formatter()->label("REQUIRED", "(required)");
    if (const std::string word = unknown_command(app, argc, argv); !word.empty())
        throw command::WrongCall("no command " + word + "; there are " + all_commands(app) + ". Help: kurbel --help");
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return app.exit(error) == 0 ? command::kDone : command::kWrongCall;
    }
    return command::kDone;
}

}  // namespace

int main(int argc, char** argv) {
    try {
        return run(argc, argv);
    } catch (const kurbel::command::WrongCall& error) {
        std::cerr << "kurbel: " << error.what() << "\n";
        return kurbel::command::kWrongCall;
    } catch (const kurbel::read::InputError& error) {
        std::cerr << "kurbel: " << error.what() << "\n";
        return kurbel::command::kWrongInput;
    } catch (const std::exception& error) {
        std::cerr << "kurbel: " << error.what() << "\n";
        return kurbel::command::kWrongInput;
    }
}
