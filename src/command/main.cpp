// kurbel: the command line. Takes the call apart, runs one command, and turns what went wrong into an exit status.
#include <exception>
#include <iostream>

#include "command/command.hpp"
#include "kurbel/core/version.hpp"
#include "kurbel/read/input_error.hpp"

namespace {

using namespace kurbel;

constexpr const char* kPurpose =
    "Reads crankshaft tooth timestamps and says for every firing how much work the cylinder did and whether it "
    "misfired.";

constexpr const char* kFooter =
    "Exit status: 0 done, whatever the verdict; 2 the call is wrong; 3 the input is wrong (the message names the "
    "file, the line and the cause).\n"
    "More about one command: kurbel COMMAND --help";

int run(int argc, char** argv) {
    CLI::App app(kPurpose, "kurbel");
    app.set_version_flag("--version", std::string("kurbel ") + KURBEL_VERSION_STRING);
    app.footer(kFooter);
    app.require_subcommand(1);
    command::add_analyze(app);
    command::add_score(app);
    command::add_simulate(app);
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
