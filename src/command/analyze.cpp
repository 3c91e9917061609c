// kurbel analyze: a recording in, events and a verdict out.
#include <algorithm>
#include <fstream>
#include <iostream>
#include <memory>

#include "command/command.hpp"
#include "command/hash.hpp"
#include "command/outcome.hpp"
#include "command/progress.hpp"
#include "command/stages.hpp"
#include "command/text.hpp"
#include "kurbel/read/analysis.hpp"
#include "kurbel/read/events_file.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/read/output_folder.hpp"
#include "kurbel/read/wheel_file.hpp"
#include "kurbel/read/wheel_learning.hpp"

namespace kurbel::command {

namespace {

struct AnalyzeCall {
    std::string recording;
    std::string out;
    bool plot = false;
    bool stages = false;
    std::string wheel;
    std::string method = "work";
    double false_alarm = Settings{}.false_alarm;

    [[nodiscard]] Settings settings() const {
        Settings settings;
        settings.method = method == "work" ? Method::work : Method::segment_roughness;
        settings.false_alarm = false_alarm;
        return settings;
    }
};

std::string joined(const std::string& folder, const std::string& name) {
    return !folder.empty() && folder.back() == '/' ? folder + name : folder + "/" + name;
}

/// What the wheel of the configuration would look like among evenly turning edges.
std::string wheel_in_words(const WheelConfig& wheel) {
    std::string text = counted(wheel.teeth, "tooth");
    if (wheel.teeth > 1) text = std::to_string(wheel.teeth) + " teeth";
    text += " a revolution";
    double widest = 0.0;
    double narrowest = 360.0;
    for (int i = 0; i < wheel.teeth; ++i) {
        const auto at = [&](int tooth) {
            return static_cast<double>(wheel.angle_deg[static_cast<std::size_t>(tooth)]);
        };
        const double step = i + 1 < wheel.teeth ? at(i + 1) - at(i) : at(0) + 360.0 - at(i);
        widest = std::max(widest, step);
        narrowest = std::min(narrowest, step);
    }
    if (widest < 1.5 * narrowest) return text + ", evenly spaced";
    return text + format(", %.3g degrees apart, with a widest gap of %.3g degrees (%.3g pitches)", narrowest, widest,
                         widest / narrowest);
}

/// Most edges have no place on the wheel: the description is of another one.
void refuse_foreign_wheel(const read::Recording& recording, const SyncState& sync) {
    const auto crank_edges =
        std::count(recording.signal.begin(), recording.signal.end(), static_cast<std::uint8_t>(Signal::crank));
    const int teeth = recording.config.crank_wheel.teeth;
    constexpr int kRevolutionsToTell = 3;
    // A run of even edges fits part of nearly any wheel: what was placed speaks for this one, each fault against it, and each loss against the
    // revolution that led to it.
    const auto followed = std::max<std::int64_t>(sync.teeth - sync.extra - sync.missed - sync.losses * teeth, 0);
    if (2 * followed >= crank_edges || crank_edges < kRevolutionsToTell * teeth) return;
    throw read::InputError(recording.described_in, recording.wheel_line,
                           "[crank_wheel] does not fit the edges: of " + counted(crank_edges, "crank edge") + " " +
                               (followed == 0 ? "none" : "only " + std::to_string(followed)) +
                               " could be followed on a wheel with " + wheel_in_words(recording.config.crank_wheel));
}

/// Too few edges to find the wheel: no fault of its description, but nothing can be said of such a recording, and every study refuses it.
void refuse_too_short(const std::string& recording_name, const read::Recording& recording, const SyncState& sync) {
    if (sync.revolutions > 0) return;
    throw read::InputError(
        recording_name, 0,
        counted(sync.edges, "edge") + " and no whole revolution from one gap to the next on a wheel with " +
            wheel_in_words(recording.config.crank_wheel) +
            ": the recording is too short, or the engine was stopping. Record at least ten seconds of a "
            "running engine");
}

Outcome analyze_recording(const AnalyzeCall& call, const read::Recording& recording) {
    Outcome outcome;
    outcome.recording = call.recording;
    outcome.config = recording.config;
    outcome.notes = recording.notes;
    outcome.config.settings = call.settings();
    ProgressLine progress("reading the crank");
    Result<read::Analysis> result =
        read::analyze(recording, outcome.config.settings, [&](double share) { progress.tell(share); });
    if (!result)
        throw read::InputError(recording.described_in, 0,
                               std::string(result.status.parameter) + ": " + result.status.why);
    refuse_foreign_wheel(recording, result.value.sync);
    refuse_too_short(call.recording, recording, result.value.sync);
    outcome.events = std::move(result.value.events);
    outcome.sync = result.value.sync;
    outcome.tdc_offset = result.value.tdc_offset;
    outcome.work_over_told = result.value.work_over_told;
    if (!call.wheel.empty()) {
        const Result<read::LearnedWheel> learned = read::learn_wheel(recording, outcome.events);
        outcome.wheel = WheelUse{call.wheel, learned.value.fit};
        outcome.inputs.emplace_back(call.wheel, sha256_of_file(call.wheel));
    }
    outcome.tally = Tally(recording.config.engine);
    for (const Event& event : outcome.events) outcome.tally.add(event);
    outcome.table = cylinder_table(outcome.tally, recording.config.engine.cylinders);
    const bool load_told = std::any_of(recording.channels.begin(), recording.channels.end(),
                                       [](const read::ChannelRow& row) { return row.channel == Channel::load; });
    if (!load_told && !call.out.empty()) outcome.crank_load = channel::load_from_crank(recording, call.recording);
    outcome.seconds = read::duration_s(recording);
    outcome.mean_rpm = result.value.mean_rpm;
    outcome.never_seen = std::move(result.value.never_seen);
    outcome.found_again_s = std::move(result.value.found_again_s);
    outcome.cam_edges =
        std::count(recording.signal.begin(), recording.signal.end(), static_cast<std::uint8_t>(Signal::cam));
    for (const std::string& file : recording.files)
        outcome.inputs.emplace_back(file, sha256_of_file(joined(recording.folder, file)));
    return outcome;
}

void write_text(const std::filesystem::path& path, const std::string& text) {
    std::ofstream stream(path, std::ios::binary | std::ios::trunc);
    stream << text;
    stream.close();
    if (!stream) throw read::InputError(path.string(), 0, "cannot be written");
}

/// One row an engine cycle.
std::string crank_load_csv(const channel::CrankLoad& load) {
    std::string text = "time_s,relative_load,standard_error\n";
    for (std::size_t i = 0; i < load.time_s.size(); ++i)
        text += format("%.6f,%.4f,%.4f\n", load.time_s[i], load.load[i], load.doubt[i]);
    return text;
}

/// Names of the files that were written, the most important first.
std::string write_result(const AnalyzeCall& call, const read::Recording& recording, const Outcome& outcome) {
    read::OutputFolder folder(call.out, read::result_folder_kind());
    read::write_events((folder.path() / "events.csv").string(), outcome.events);
    std::string files = "summary.json, events.csv";
    if (call.stages) {
        write_stages(folder.path().string(), recording);
        files += ", teeth.csv, segments.csv";
    }
    if (outcome.crank_load && outcome.crank_load->known()) {
        write_text(folder.path() / "crank-load.csv", crank_load_csv(*outcome.crank_load));
        files += ", crank-load.csv";
    }
    if (call.plot) {
        write_text(folder.path() / "plot.svg", plot_svg(outcome));
        files += ", plot.svg";
    }
    write_text(folder.path() / "summary.json", summary_json(outcome));
    folder.commit();
    return files;
}

void check_call(const AnalyzeCall& call) {
    if (call.out.empty() && call.plot) throw WrongCall("--plot writes a file: say where with --out FOLDER");
    if (call.out.empty() && call.stages) throw WrongCall("--stages writes files: say where with --out FOLDER");
    if (Status status = validate(call.settings()); !status) throw WrongCall(std::string("--false-alarm ") + status.why);
}

void run_analyze(const AnalyzeCall& call) {
    check_call(call);
    if (!call.out.empty()) read::check_output_folder(call.out, read::result_folder_kind());
    ProgressLine progress("reading " + call.recording);
    read::Recording recording = read::read_recording(
        call.recording, [&](double share) { progress.tell(share); }, read::Labels::left_out);
    progress.wipe();
    if (!call.wheel.empty()) read::use_wheel_file(call.wheel, read::read_wheel_file(call.wheel), recording.config);
    const Outcome outcome = analyze_recording(call, recording);
    const std::string files = call.out.empty() ? "" : write_result(call, recording, outcome);
    std::cout << report_text(outcome);
    if (!files.empty()) std::cout << "\nWritten to " << call.out << ": " << files << "\n";
}

}  // namespace

void add_analyze(CLI::App& app) {
    CLI::App* command =
        app.add_subcommand("analyze", "Judge every firing of a recording and say which cylinder misfires");
    const auto call = std::make_shared<AnalyzeCall>();
    command
        ->add_option("RECORDING", call->recording,
                     "Folder with recording.toml and the edges; or a file beside which FILE.kurbel.toml says "
                     "which\ncolumn is what (kurbel convert --help)")
        ->required()
        ->type_name("FOLDER|FILE");
    command
        ->add_option("--out", call->out,
                     "Write events.csv and summary.json there; an earlier result is replaced, any\n"
                     "other folder that holds files is refused. Without it, only the report")
        ->type_name("FOLDER");
    command->add_flag("--stages", call->stages, "Also write teeth.csv and segments.csv: what the first stages saw");
    command->add_flag("--plot", call->plot, "Also write plot.svg: severity of each firing over time, by cylinder");
    command
        ->add_option("--wheel", call->wheel,
                     "Where this wheel's teeth really stand, as kurbel learn-wheel wrote it; the report\n"
                     "says whether it is the same wheel")
        ->type_name("FILE");
    command
        ->add_option("--method", call->method,
                     "work: energy balance of each firing (default);\n"
                     "segment-roughness: the published classic, for comparison")
        ->check(CLI::IsMember({"work", "segment-roughness"}))
        ->type_name("NAME");
    command
        ->add_option("--false-alarm", call->false_alarm,
                     "Accepted chance that a healthy firing is called a misfire, 1e-9 to 0.1\n"
                     "(default 2e-5)")
        ->type_name("CHANCE");
    command->footer("Example: kurbel analyze my-recording --out my-result --plot\n\n" + std::string(kStatuses));
    command->callback([call] { run_analyze(*call); });
}

}  // namespace kurbel::command
