// kurbel simulate: a scenario file becomes a labelled recording.
#include "kurbel/simulate/simulator.hpp"

#include <algorithm>
#include <cstdint>
#include <fstream>
#include <iomanip>
#include <iostream>
#include <memory>
#include <optional>

#include "command/command.hpp"
#include "command/describe.hpp"
#include "command/progress.hpp"
#include "command/shipped.hpp"
#include "command/text.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/read/output_folder.hpp"
#include "kurbel/read/recording_writer.hpp"
#include "kurbel/simulate/scenario_file.hpp"
#include "kurbel/simulate/waveform.hpp"

namespace kurbel::command {

namespace {

struct Options {
    std::string scenario;
    std::string out;
    std::string picture;
    std::string drawn;
    std::string waveform;
    std::optional<std::uint64_t> seed;
    std::optional<std::uint64_t> draw;
    std::optional<double> seconds;
    double rate_hz = 100000.0;
    bool npy = false;
    bool full_truth = false;
    bool list = false;
    bool describe = false;
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

read::Recording simulated(const simulate::Scenario& scenario, const simulate::StepWatch& watch,
                          simulate::DeepTruth* truth) {
    ProgressLine progress("simulating");
    return simulate::simulate(
        scenario, [&](double share) { progress.tell(share); }, watch, truth);
}

/// Runs the scenario, and samples the sensor meanwhile where that is asked for.
read::Recording recorded(const Options& options, const simulate::Scenario& scenario, simulate::DeepTruth* truth) {
    if (options.waveform.empty()) return simulated(scenario, {}, truth);
    simulate::Waveform waveform(scenario, options.rate_hz);
    const auto look = [&](const simulate::EngineModel& model, double time_s) { waveform.look(model, time_s); };
    read::Recording recording = simulated(scenario, look, truth);
    waveform.write(options.waveform);
    std::cout << "Wrote " << waveform.volts().size() << " samples of the crank sensor's voltage to " << options.waveform
              << ".\n";
    return recording;
}

void write_text(const std::string& path, const std::string& text) {
    std::ofstream file(path, std::ios::binary | std::ios::trunc);
    file << text;
    file.close();
    if (!file) throw read::InputError(path, 0, "cannot be written");
}

void write_folder(const Options& options, const simulate::Scenario& scenario) {
    read::check_output_folder(options.out, read::recording_folder_kind());
    simulate::DeepTruth truth;
    const read::Recording recording = recorded(options, scenario, options.full_truth ? &truth : nullptr);
    read::WriteOptions form;
    form.npy = options.npy;
    form.seconds = !options.npy && !scenario.has_timer;
    read::OutputFolder folder(options.out, read::recording_folder_kind());
    read::write_recording(folder.path().string(), recording, form);
    if (options.full_truth) simulate::write_deep_truth(folder.path().string(), truth, recording.signal);
    folder.commit();
    report(options, scenario, recording);
}

constexpr double kMostSamples = 5e7;

/// A call that asks for nothing, or for things that cannot go together.
void check_call(const Options& options) {
    if (options.list) return;
    if (options.scenario.empty())
        throw WrongCall("SCENARIO is required; kurbel simulate --list shows those that come with kurbel");
    const bool anything =
        options.describe || !options.out.empty() || !options.picture.empty() || !options.drawn.empty();
    if (!options.waveform.empty() && options.out.empty())
        throw WrongCall("--waveform is sampled while a recording is made: say where with --out FOLDER");
    if (!anything)
        throw WrongCall(
            "one of --out, --describe, --picture and --drawn is required: say what to make of the scenario");
}

void run(const Options& options) {
    check_call(options);
    if (options.list) {
        std::cout << scenario_list(options.scenario);
        return;
    }
    const std::string path = scenario_file(options.scenario);
    simulate::Scenario scenario = simulate::read_scenario(path, options.draw);
    if (options.seed) scenario.seed = *options.seed;
    if (options.seconds) scenario.seconds = *options.seconds;
    if (!options.waveform.empty() && scenario.seconds * options.rate_hz > kMostSamples)
        throw WrongCall("--waveform would have more than 50 million samples: less --seconds or --rate");
    if (!options.drawn.empty()) write_text(options.drawn, simulate::drawn_scenario(path, options.draw));
    if (options.describe) {
        const std::string title = headline(path);
        if (!title.empty()) std::cout << wrapped(title, 100, 0) << "\n\n";
        std::cout << description(scenario);
    }
    if (!options.picture.empty()) {
        write_text(options.picture, picture_svg(scenario));
        std::cout << "Drew two engine cycles in " << options.picture << ".\n";
    }
    if (!options.out.empty()) write_folder(options, scenario);
}

}  // namespace

void add_simulate(CLI::App& app) {
    CLI::App* command =
        app.add_subcommand("simulate", "Make a labelled recording from a scenario file, or tell what it is");
    const auto options = std::make_shared<Options>();
    command
        ->add_option("SCENARIO", options->scenario,
                     "Scenario file (TOML): engine, wheel, operation, faults; or the name of one that\n"
                     "came with kurbel. With --list: a folder that holds scenarios/, cells/, engines/")
        ->type_name("FILE");
    command
        ->add_option("--out", options->out,
                     "Write recording.toml, edges, channels.csv and truth.csv there; an earlier\n"
                     "recording is replaced, any other folder that holds files is refused")
        ->type_name("FOLDER");
    command->add_flag("--list", options->list, "List the scenarios, cells and engines that came with kurbel");
    command->add_flag("--describe", options->describe,
                      "Tell what the engine is: sizes, natural frequencies, how the speed swings and what\n"
                      "a lost firing does to it; runs it for some seconds");
    command
        ->add_option("--picture", options->picture,
                     "Draw speed, torque and pressures over two engine cycles, those of the first lost\n"
                     "firing within 20 s if there is one")
        ->type_name("FILE.svg");
    command->add_option("--draw", options->draw, "Which engine to draw from the scenario's ranges; default: its own")
        ->check(within(std::uint64_t{0}, std::uint64_t{9007199254740992}))
        ->type_name("NUMBER");
    command->add_option("--drawn", options->drawn, "Write the scenario with all ranges drawn, to look at or change")
        ->type_name("FILE.toml");
    command->add_option("--seed", options->seed, "Random seed instead of the scenario's own")
        ->check(within(std::uint64_t{0}, std::uint64_t{9007199254740992}))
        ->type_name("NUMBER");
    command->add_option("--seconds", options->seconds, "Length instead of the scenario's own, 0.1 to 86400 s")
        ->check(within(0.1, 86400.0))
        ->type_name("SECONDS");
    command->add_flag("--full-truth", options->full_truth,
                      "With --out: also the true tooth angles, the true phase, which tooth each edge is, and\n"
                      "what every cylinder trapped and burnt (truth_*.csv, truth_phase.toml)");
    command
        ->add_option("--waveform", options->waveform,
                     "Beside the recording: the crank sensor's voltage, as text (time_s,volts) or as a\n"
                     "NumPy array")
        ->type_name("FILE.csv|FILE.npy");
    command->add_option("--rate", options->rate_hz, "Samples a second of --waveform, 100 to 1e8; default 100000")
        ->check(within(100.0, 1e8))
        ->type_name("HZ");
    command->add_flag("--npy", options->npy, "Edges as crank.npy and cam.npy (NumPy) instead of edges.csv");
    command->footer(
        "Every key of a scenario file with its default: share/kurbel/scenarios/reference.toml; what the\n"
        "engine on paper holds and leaves out: share/kurbel/SIMULATOR.md (datasets/ in the source)\n"
        "Example: kurbel simulate pickup-1-before --seconds 20 --out my-recording\n\n" +
        std::string(kStatuses));
    command->callback([options] { run(*options); });
}

}  // namespace kurbel::command
