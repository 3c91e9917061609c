// kurbel convert: recordings of others into the project's form, and the project's into other files.
#include <CLI/CLI.hpp>
#include <cmath>
#include <filesystem>
#include <iostream>
#include <map>
#include <memory>
#include <optional>

#include "command/command.hpp"
#include "command/progress.hpp"
#include "kurbel/read/foreign.hpp"
#include "kurbel/read/input_error.hpp"
#include "text/text.hpp"

namespace kurbel::command {

namespace {

struct ConvertCall {
    std::string input;
    std::string out;
    std::string mapping_file;
    std::string describe;
    bool npy = false;
    std::map<std::string, std::string> words;  ///< by key of the mapping, as given
    std::map<std::string, double> numbers;
};

/// The help of a key in lines that fit a terminal.
std::string help_of(const read::MappingKey& key) {
    std::string what = key.what;
    for (char& letter : what)
        if (letter == '\n') letter = ' ';
    if (!std::holds_alternative<std::string read::Mapping::*>(key.member))
        what += text::format(" (%.6g to %.6g)", key.low, key.high);
    constexpr std::size_t kColumns = 84;
    return text::wrapped(what, kColumns, 0);
}

/// "time_unit" as an option: "--time-unit".
std::string option_name(const read::MappingKey& key) {
    std::string name = std::string("--") + key.name;
    for (char& letter : name)
        if (letter == '_') letter = '-';
    return name;
}

read::ForeignFile file_of(const ConvertCall& call) {
    std::error_code error;
    read::ForeignFile file;
    file.path = call.input;
    if (!call.mapping_file.empty()) {
        file.mapping_file = call.mapping_file;
        file.mapping = read::read_mapping(call.mapping_file);
    } else if (!std::filesystem::is_directory(call.input, error)) {
        file = read::foreign_file(call.input);
    }
    file.description = call.describe;
    for (const read::MappingKey& key : read::mapping_keys()) {
        if (const auto word = call.words.find(key.name); word != call.words.end() && !word->second.empty())
            file.mapping.*std::get<std::string read::Mapping::*>(key.member) = word->second;
        const auto number = call.numbers.find(key.name);
        if (number == call.numbers.end() || std::isnan(number->second)) continue;
        if (const auto* real = std::get_if<double read::Mapping::*>(&key.member))
            file.mapping.*(*real) = number->second;
        else
            file.mapping.*std::get<int read::Mapping::*>(key.member) = static_cast<int>(number->second);
    }
    return file;
}

void run_convert(const ConvertCall& call) {
    const read::ForeignFile file = file_of(call);
    ProgressLine progress("reading " + std::filesystem::path(call.input).filename().string());
    const read::ConversionCount count =
        read::convert(file, call.out, call.npy, [&](double share) { progress.tell(share); });
    progress.wipe();
    std::cout << "Wrote " << text::format("%.1f s", count.seconds) << " to " << call.out << ": " << count.crank_edges
              << " crank edges, " << count.cam_edges << " cam edges";
    if (count.channel_rows > 0) std::cout << ", " << count.channel_rows << " values of channels";
    std::cout << ".\n";
    for (const std::string& warning : count.warnings)
        std::cout << text::wrapped("Note: " + warning + ".", 100, 2) << "\n";
}

void add_mapping_options(CLI::App& command, ConvertCall& call) {
    for (const read::MappingKey& key : read::mapping_keys()) {
        CLI::Option* option = nullptr;
        if (std::holds_alternative<std::string read::Mapping::*>(key.member)) {
            option = command.add_option(option_name(key), call.words[key.name], help_of(key));
            if (!key.words.empty())
                option->check(CLI::IsMember(std::vector<std::string>(key.words.begin(), key.words.end())));
        } else {
            call.numbers[key.name] = std::nan("");
            option = command.add_option(option_name(key), call.numbers[key.name], help_of(key));
            option->check(within(key.low, key.high));
        }
        option->type_name(key.type)->group("Mapping (the same keys, with _ for -, in INPUT.kurbel.toml)");
    }
}

}  // namespace

void add_convert(CLI::App& app) {
    CLI::App* command = app.add_subcommand(
        "convert", "Turn a file of edges or of a sensor's voltage into a recording, or a recording into a file");
    const auto call = std::make_shared<ConvertCall>();
    command
        ->add_option("INPUT", call->input,
                     "Delimited text, WAV, value change dump (VCD), NumPy archive (npz), HDF5, Parquet or\n"
                     "ASAM MDF; or a recording folder")
        ->required()
        ->type_name("FILE");
    command
        ->add_option("--out", call->out,
                     "X.vcd, X.parquet, or else a recording folder; an earlier one is replaced, any other\n"
                     "folder that holds files is refused")
        ->required()
        ->type_name("NAME");
    command
        ->add_option("--describe", call->describe,
                     "TOML file with [engine], [crank_wheel] and, with a cam, [cam_wheel], as in\n"
                     "recording.toml; or the folder of a recording of the same engine")
        ->type_name("FILE.toml");
    command
        ->add_option("--mapping", call->mapping_file,
                     "File with the mapping; default: INPUT.kurbel.toml where it exists")
        ->type_name("FILE.toml");
    command->add_flag("--npy", call->npy, "Edges as crank.npy and cam.npy (NumPy) instead of edges.csv");
    add_mapping_options(*command, *call);
    command->footer(
        "A column is named as the file names it, or by its place: \"#1\" is the first. With INPUT.kurbel.toml beside\n"
        "it, a file can be given to any command in place of a recording.\n"
        "Examples: kurbel convert log.csv --crank \"Ch A\" --time Time --describe engine.toml --out my-recording\n"
        "          kurbel convert my-recording --out my-recording.vcd\n"
        "All about it, with examples of every kind of file: share/kurbel/RECORDING.md (datasets/ in the source)\n\n" +
        std::string(kStatuses));
    command->callback([call] { run_convert(*call); });
}

}  // namespace kurbel::command
