// kurbel inspect: what edges alone tell of wheel, cam and engine.
#include <fstream>
#include <iostream>
#include <memory>

#include "command/command.hpp"
#include "kurbel/discover/recording_lines.hpp"
#include "kurbel/discover/tell.hpp"
#include "kurbel/read/bare_edges.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/read/output_folder.hpp"
#include "text/text.hpp"

namespace kurbel::command {

namespace {

struct InspectCall {
    std::string input;
    std::string out;
    double timer_hz = 0.0;
    int timer_bits = 0;
};

const read::FolderKind& inspection_kind() {
    static const read::FolderKind kind{
        "inspection", "inspection.json", {"inspection.json", "draft-recording.toml", "tooth-periods.svg"}};
    return kind;
}

void write_text(const std::filesystem::path& path, const std::string& text) {
    std::ofstream stream(path, std::ios::binary | std::ios::trunc);
    stream << text;
    stream.close();
    if (!stream) throw read::InputError(path.string(), 0, "cannot be written");
}

void run_inspect(const InspectCall& call) {
    std::optional<TimerConfig> timer;
    if (call.timer_hz > 0.0) timer = TimerConfig{call.timer_hz, call.timer_bits};
    if (call.timer_bits != 0 && !timer) throw WrongCall("--timer-bits goes with --timer-hz");
    if (!call.out.empty()) read::check_output_folder(call.out, inspection_kind());
    const read::BareEdges bare = read::read_bare_edges(call.input, timer);
    const discover::Discovery found = discover::discover(discover::edge_lines(bare.recording));
    const Config* described = bare.described ? &bare.recording.config : nullptr;
    if (!call.out.empty()) {
        read::OutputFolder folder(call.out, inspection_kind());
        write_text(folder.path() / "tooth-periods.svg", discover::tooth_period_svg(found));
        write_text(folder.path() / "draft-recording.toml",
                   discover::draft_toml(found, bare.has_timer ? &bare.recording.config.timer : nullptr));
        write_text(folder.path() / "inspection.json", discover::to_json(found, described));
        folder.commit();
    }
    std::cout << discover::report_text(found, described);
    if (!bare.why_not.empty())
        std::cout << text::wrapped("The description beside the edges could not be used: " + bare.why_not, 100, 2)
                  << "\n";
    if (!call.out.empty())
        std::cout << "\nWritten to " << call.out
                  << ": draft-recording.toml (to be confirmed), tooth-periods.svg, inspection.json\n";
}

}  // namespace

void add_inspect(CLI::App& app) {
    CLI::App* command =
        app.add_subcommand("inspect", "Find out from the edges alone which wheel, cam and engine they come from");
    const auto call = std::make_shared<InspectCall>();
    command
        ->add_option("INPUT", call->input,
                     "A recording folder, whose recording.toml may be missing or unfinished; an edges.csv alone; or\n"
                     "a file beside which FILE.kurbel.toml says which column is what (kurbel convert --help).\n"
                     "Where there is a description, it is compared with what is found")
        ->required()
        ->type_name("FOLDER|FILE");
    command
        ->add_option("--out", call->out,
                     "Write draft-recording.toml, tooth-periods.svg and inspection.json there; an earlier\n"
                     "inspection is replaced, any other folder that holds files is refused")
        ->type_name("FOLDER");
    command
        ->add_option("--timer-hz", call->timer_hz,
                     "Ticks a second, 1e3 to 1e12, where edges are counter values and no description tells")
        ->check(within(1e3, 1e12))
        ->type_name("HZ");
    command->add_option("--timer-bits", call->timer_bits, "Width of a counter that wraps, 8 to 62")
        ->check(within(8, 62))
        ->type_name("BITS");
    command->footer(
        "Best is a recording that holds a warm idle and a long fuel cut (a channel fuel_cut in channels.csv\n"
        "says when). A finding in doubt says \"not sure\"; a person confirms all of them.\n"
        "Example: kurbel inspect my-recording --out my-inspection\n\n" +
        std::string(kStatuses));
    command->callback([call] { run_inspect(*call); });
}

}  // namespace kurbel::command
