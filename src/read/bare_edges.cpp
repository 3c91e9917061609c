#include "kurbel/read/bare_edges.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <limits>
#include <string>

#include "kurbel/read/foreign.hpp"
#include "kurbel/read/input_error.hpp"
#include "read/foreign/table.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

namespace fs = std::filesystem;

bool is_there(const fs::path& path) {
    std::error_code error;
    return fs::exists(path, error);
}

/// Whether a text names the columns of edges.csv: others have to be told which column is what.
bool names_edges(const fs::path& path) {
    std::ifstream stream(path, std::ios::binary);
    std::string head(1024, '\0');
    stream.read(head.data(), static_cast<std::streamsize>(head.size()));
    head.resize(static_cast<std::size_t>(stream.gcount()));
    head.resize(std::min(head.size(), head.find('\n')));
    return head.find("time_s") != std::string::npos || head.find("tick") != std::string::npos;
}

/// The timer of a description that is otherwise unfinished; false where it names none.
bool read_timer_alone(const std::string& path, TimerConfig& timer) {
    const TomlFile file = parse_toml(path);
    if (find_table(file, "timer") == nullptr) return false;
    timer = read_timer(file);
    return true;
}

void read_edges_of(const fs::path& input, BareEdges& bare) {
    Recording& recording = bare.recording;
    std::error_code error;
    if (!fs::is_directory(input, error)) {
        read_edges_csv(input.string(), bare.has_timer, recording);
        return;
    }
    const fs::path text = input / "edges.csv";
    const fs::path crank = input / "crank.npy";
    if (is_there(text)) {
        read_edges_csv(text.string(), bare.has_timer, recording);
    } else if (is_there(crank)) {
        read_edges_npy(crank.string(), (input / "cam.npy").string(), bare.has_timer, recording);
    } else {
        throw InputError(input.string(), 0, "holds neither edges.csv nor crank.npy");
    }
}

}  // namespace

BareEdges read_bare_edges(const std::string& input, const std::optional<TimerConfig>& timer) {
    const fs::path path(input);
    if (!is_there(path))
        throw InputError(input, 0, "is missing; give a folder with edges.csv or crank.npy, or an edges.csv");
    BareEdges bare;
    std::error_code error;
    // A file with a mapping beside it, or of a kind that tells everything itself, or that wants one.
    if (fs::is_regular_file(path, error) && (is_there(mapping_path(input)) || format_of(input) != "text" ||
                                             (path.filename() != "edges.csv" && !names_edges(path)))) {
        bare.recording = read_foreign(foreign_file(input), Description::optional);
        bare.described = !bare.recording.described_in.empty();
        bare.has_timer = true;
        return bare;
    }
    const fs::path description = path / "recording.toml";
    if (fs::is_directory(path, error) && is_there(description)) {
        try {
            bare.recording = read_recording(input);
            bare.described = true;
            bare.has_timer = bare.recording.config.timer.hz != 1e9 || bare.recording.config.timer.bits != 0;
            return bare;
        } catch (const InputError& refused) {
            bare.recording = {};
            bare.why_not = refused.what();
        }
        try {
            bare.has_timer = read_timer_alone(description.string(), bare.recording.config.timer);
        } catch (const InputError&) {
            // why_not tells already.
        }
    }
    if (timer) {
        if (const Status status = validate(*timer); !status)
            throw InputError(input, 0, std::string(status.parameter) + ": " + status.why);
        bare.recording.config.timer = *timer;
        bare.has_timer = true;
    }
    read_edges_of(path, bare);
    return bare;
}

std::vector<std::pair<double, double>> fuel_cuts_s(const Recording& recording) {
    std::vector<std::pair<double, double>> cuts;
    const double hz = recording.config.timer.hz;
    bool cut = false;
    for (const ChannelRow& row : recording.channels) {
        if (row.channel != Channel::fuel_cut || (row.value > 0.5) == cut) continue;
        cut = !cut;
        const double time_s = static_cast<double>(row.tick) / hz;
        if (cut)
            cuts.emplace_back(time_s, std::numeric_limits<double>::max());
        else
            cuts.back().second = time_s;
    }
    return cuts;
}

}  // namespace kurbel::read
