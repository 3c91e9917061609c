// kurbel simulate: a scenario file becomes a labelled recording.
#include "kurbel/simulate/simulator.hpp"

#include <algorithm>
#include <cstdint>
#include <iomanip>
#include <iostream>
#include <memory>
#include <optional>

#include "command/command.hpp"
#include "command/progress.hpp"
#include "kurbel/read/output_folder.hpp"
#include "kurbel/read/recording_writer.hpp"
#include "kurbel/simulate/scenario_file.hpp"

namespace kurbel::command {

namespace {

struct Options {
    std::string scenario;
    std::string out;
    std::optional<std::uint64_t> seed;
    std::optional<double> seconds;
    bool npy = false;
};

void report(const Options& options, const simulate::Scenario& scenario, const read::Recording& recording) {
    const auto misfires = std::count_if(recording.truth.begin(), recording.truth.end(),
                                        [](const read::TruthRow& row) { return row.severity >= 0.5; });
    const auto partial = std::count_if(recording.truth.begin(), recording.truth.end(), [](const read::TruthRow& row) {
        return row.severity > 0.0 && row.severity < 0.5;
    });
    std::cout << "Wrote " << std::fixed << std::setprecision(1) << scenario.seconds << " s of a running engine to "
              << options.out << ": " << recording.tick.size() << " edges, " << recording.truth.size() << " firings, "
              << misfires << " of them misfires on purpose";
    if (partial > 0) std::cout << " and " << partial << " weakened by less than half";
    std::cout << " (seed " << scenario.seed << ").\n";
}

read::Recording simulated(const simulate::Scenario& scenario) {
    ProgressLine progress("simulating");
    return simulate::simulate(scenario, [&](double share) { progress.tell(share); });
}

void run(const Options& options) {
    simulate::Scenario scenario = simulate::read_scenario(options.scenario);
    if (options.seed) scenario.seed = *options.seed;
    if (options.seconds) scenario.seconds = *options.seconds;
    read::check_output_folder(options.out, read::recording_folder_kind());
    const read::Recording recording = simulated(scenario);
    read::WriteOptions form;
    form.npy = options.npy;
    form.seconds = !options.npy && !scenario.has_timer;
    read::OutputFolder folder(options.out, read::recording_folder_kind());
    read::write_recording(folder.path().string(), recording, form);
    folder.commit();
    report(options, scenario, recording);
}

}  // namespace

void add_simulate(CLI::App& app) {
    CLI::App* command = app.add_subcommand("simulate", "Make a labelled recording from a scenario file");
    const auto options = std::make_shared<Options>();
    command->add_option("SCENARIO", options->scenario, "Scenario file (TOML): engine, wheel, operation, faults")
        ->required()
        ->type_name("FILE");
    command
        ->add_option("--out", options->out,
                     "Write recording.toml, edges, channels.csv and truth.csv there; an earlier\n"
                     "recording is replaced, any other folder that holds files is refused")
        ->required()
        ->type_name("FOLDER");
    command->add_option("--seed", options->seed, "Random seed instead of the scenario's own")
        ->check(CLI::Range(std::uint64_t{0}, std::uint64_t{9007199254740992}))
        ->type_name("NUMBER");
    command->add_option("--seconds", options->seconds, "Length instead of the scenario's own, 0.1 to 86400 s")
        ->check(CLI::Range(0.1, 86400.0))
        ->type_name("SECONDS");
    command->add_flag("--npy", options->npy, "Edges as crank.npy and cam.npy (NumPy) instead of edges.csv");
    command->footer(
        "Every key of a scenario file with its default: datasets/scenarios/reference.toml\n"
        "Example: kurbel simulate datasets/scenarios/pickup-1-before.toml --seconds 20 --out my-recording\n\n" +
        std::string(kStatuses));
    command->callback([options] { run(*options); });
}

}  // namespace kurbel::command
