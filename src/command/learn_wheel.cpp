// kurbel learn-wheel: a recording in, a file with the true places of the wheel's teeth out.
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <iostream>
#include <memory>
#include <numeric>

#include "command/command.hpp"
#include "command/text.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/read/wheel_file.hpp"
#include "kurbel/read/wheel_learning.hpp"
#include "kurbel/study/cautions.hpp"

namespace kurbel::command {

namespace {

constexpr std::size_t kWidth = 100;
constexpr int kTeethShown = 5;
constexpr int kLeastCycles = 5;
constexpr double kFine_deg = 0.01;  // what detection at the top of the speed range asks for

struct LearnCall {
    std::string recording;
    std::string out;
};

double at(const std::array<float, kMaxTeeth>& values, int tooth) {
    return static_cast<double>(values[static_cast<std::size_t>(tooth)]);
}

std::string basis_text(const read::LearnedWheel& learned) {
    const long long used = 2LL * learned.report.cycles;
    std::string text = "Learned from " + std::to_string(used) + " of " + counted(learned.revolutions, "revolution");
    if (used > 0) text += format(", %.0f to %.0f rpm", learned.slowest_rpm, learned.fastest_rpm);
    if (learned.without_fuel > 0) text += ", " + std::to_string(learned.without_fuel) + " of them without fuel";
    if (learned.spoilt > 0) text += "; " + std::to_string(learned.spoilt) + " were set aside around misfires";
    return text + ".";
}

/// The teeth that stand farthest from where they should.
std::string teeth_text(const read::LearnedWheel& learned) {
    const WheelErrors& errors = learned.wheel.errors;
    const WheelConfig& wheel = learned.wheel.wheel;
    std::vector<int> order(static_cast<std::size_t>(errors.teeth));
    std::iota(order.begin(), order.end(), 0);
    const auto shown = static_cast<std::size_t>(std::min(kTeethShown, errors.teeth));
    std::partial_sort(
        order.begin(), order.begin() + static_cast<std::ptrdiff_t>(shown), order.end(),
        [&](int a, int b) { return std::fabs(at(errors.error_deg, a)) > std::fabs(at(errors.error_deg, b)); });
    std::string text = format("%8s %12s %12s %16s\n", "tooth", "at, deg", "error, deg", "standard error");
    for (std::size_t i = 0; i < shown; ++i) {
        const int tooth = order[i];
        text += format("%8d %12.3f %+12.4f %16.4f\n", tooth + 1, at(wheel.angle_deg, tooth),
                       at(errors.error_deg, tooth), at(learned.wheel.se_deg, tooth));
    }
    return text + "The teeth farthest off, counted from the first one of the wheel. Plus: the tooth comes later.\n";
}

/// What would make the result surer; nothing where it is sure.
std::string advice_text(const read::LearnedWheel& learned) {
    if (learned.report.rms_se_deg <= kFine_deg) return "";
    const std::string text =
        "To learn it more closely, record 200 revolutions and more in which the speed doubles, or 50 in fuel cut "
        "(foot off, in gear): how the crank itself swings depends on speed and load, how its wheel is made does not.";
    return wrapped(text, kWidth, 0) + "\n\n" +
           wrapped("Caution: " + cautions({}).front() +
                       " Record while driving only with a second person at the screen, on a free road or on a test "
                       "bench, and within the speeds that engine and road allow.",
                   kWidth, 2) +
           "\n\n";
}

std::string report_text(const LearnCall& call, const read::LearnedWheel& learned) {
    std::string text =
        wrapped(format("Teeth stand %.3f degrees from where they should (root mean square over %d teeth); "
                       "once corrected, %.3f degrees are expected to be left.",
                       learned.report.rms_deg, learned.wheel.errors.teeth, learned.report.rms_se_deg),
                kWidth, 0) +
        "\n\n" + teeth_text(learned) + "\n" + wrapped(basis_text(learned), kWidth, 0) + "\n\n" + advice_text(learned);
    return text + "Written to " + call.out +
           ". Use it for this engine's recordings:\n  kurbel analyze RECORDING --wheel " + call.out + "\n";
}

/// Says before the work whether the file can be written.
void check_target(const std::string& out) {
    const std::filesystem::path path(out);
    std::error_code error;
    if (std::filesystem::is_directory(path, error)) throw read::InputError(out, 0, "is a folder; name a file");
    const std::filesystem::path folder = path.has_parent_path() ? path.parent_path() : std::filesystem::path(".");
    if (!std::filesystem::is_directory(folder, error))
        throw read::InputError(folder.string(), 0, "is no folder, so that nothing can be written there; make it first");
    // What is no wheel file is not replaced.
    if (std::filesystem::exists(path, error)) static_cast<void>(read::read_wheel_file(out));
}

void run_learn(const LearnCall& call) {
    check_target(call.out);
    const read::Recording recording = read::read_recording(call.recording);
    const Result<read::LearnedWheel> learned = read::learn_wheel(recording);
    if (!learned)
        throw read::InputError(call.recording + "/recording.toml", 0,
                               std::string(learned.status.parameter) + ": " + learned.status.why);
    const read::LearnedWheel& wheel = learned.value;
    if (wheel.report.cycles < kLeastCycles)
        throw read::InputError(
            call.recording, 0,
            "holds too little to learn a wheel from: " + basis_text(wheel) + " It takes " +
                std::to_string(2 * kLeastCycles) +
                " revolutions at least, with every tooth seen and without misfire, and 200 to do it well");
    read::write_wheel_file(call.out, wheel.wheel);
    std::cout << report_text(call, wheel);
}

}  // namespace

void add_learn_wheel(CLI::App& app) {
    CLI::App* command =
        app.add_subcommand("learn-wheel", "Learn from a recording where the crank wheel's teeth really stand");
    const auto call = std::make_shared<LearnCall>();
    command->add_option("RECORDING", call->recording, "Folder with recording.toml and the edges")
        ->required()
        ->type_name("FOLDER|FILE");
    command
        ->add_option("--out", call->out,
                     "Write the wheel there; an earlier wheel is replaced, any other file is refused")
        ->required()
        ->type_name("FILE");
    command->footer(
        "Best from a recording in which the speed doubles, or with 50 revolutions of fuel cut.\n"
        "Example: kurbel learn-wheel my-recording --out my-wheel.toml\n"
        "         kurbel analyze another-recording --wheel my-wheel.toml\n\n" +
        std::string(kStatuses));
    command->callback([call] { run_learn(*call); });
}

}  // namespace kurbel::command
