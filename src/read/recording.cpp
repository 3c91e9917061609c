// A recording folder: which files it has, and in what order they are read.
#include "kurbel/read/recording.hpp"

#include <filesystem>

#include "kurbel/read/foreign.hpp"
#include "kurbel/read/input_error.hpp"
#include "read/recording_parts.hpp"

namespace kurbel::read {

namespace {

namespace fs = std::filesystem;

/// Throws where the system does not let us see whether it is there: that is not the same as missing.
bool there(const std::string& path) {
    std::error_code error;
    const bool found = fs::exists(path, error);
    if (error) throw InputError(path, 0, "cannot be read: " + error.message());
    return found;
}

/// The folder's files by name, as paths for messages and as facts.
struct Folder {
    std::string path;

    [[nodiscard]] std::string file(const char* name) const {
        return path.empty() || path.back() == '/' ? path + name : path + "/" + name;
    }
    [[nodiscard]] bool has(const char* name) const { return there(file(name)); }
};

Folder open_folder(const std::string& path) {
    std::error_code error;
    if (!there(path)) throw InputError(path, 0, "is missing; a recording is a folder");
    if (!fs::is_directory(path, error))
        throw InputError(path, 0, "is no regular file; a recording is a folder or a file");
    return {path};
}

/// Says whether the file names a timer.
bool read_config(const Folder& folder, Recording& recording) {
    if (!folder.has("recording.toml"))
        throw InputError(
            folder.file("recording.toml"), 0,
            "is missing; a recording is a folder that holds it (kurbel inspect drafts one from edges alone)");
    const TomlFile file = parse_toml(folder.file("recording.toml"));
    refuse_unknown_keys(file, file.root, "", {"contract", "engine", "crank_wheel", "cam_wheel", "timer"});
    if (integer_or(file, file.root, "", "contract", 1) != 1) fail_key(file, file.root, "", "contract", "must be 1");
    recording.config.engine = read_engine(file);
    recording.config.crank_wheel = read_crank_wheel(file);
    recording.config.cam_wheel = read_cam_wheel(file, recording.config.engine);
    recording.config.timer = read_timer(file);
    require(file, validate(recording.config));
    recording.wheel_line = static_cast<int>(find_table(file, "crank_wheel")->source().begin.line);
    recording.files.emplace_back("recording.toml");
    return find_table(file, "timer") != nullptr;
}

void read_edges(const Folder& folder, bool has_timer, Recording& recording) {
    const bool text = folder.has("edges.csv");
    const bool crank = folder.has("crank.npy");
    const bool cam = folder.has("cam.npy");
    if (text && (crank || cam))
        throw InputError(folder.file("edges.csv"), 0,
                         "stands beside crank.npy or cam.npy; a recording has one of the forms");
    if (!text && !crank)
        throw InputError(
            folder.file("edges.csv"), 0,
            cam ? "is missing, and cam.npy alone tells nothing of the crank" : "is missing (crank.npy too)");
    if (text) {
        read_edges_csv(folder.file("edges.csv"), has_timer, recording);
        recording.files.emplace_back("edges.csv");
        return;
    }
    read_edges_npy(folder.file("crank.npy"), folder.file("cam.npy"), has_timer, recording);
    recording.files.emplace_back("crank.npy");
    if (cam) recording.files.emplace_back("cam.npy");
}

/// One of our own files in place of its folder; as a foreign file it would be asked for columns it cannot have.
void refuse_part_of_folder(const std::string& path) {
    const fs::path file(path);
    const fs::path folder = file.has_parent_path() ? file.parent_path() : fs::path(".");
    std::error_code error;
    if (fs::exists(path + ".kurbel.toml", error) || !fs::exists(folder / "recording.toml", error)) return;
    for (const char* name : {"recording.toml", "edges.csv", "crank.npy", "cam.npy", "channels.csv", "truth.csv"})
        if (file.filename() == name)
            throw InputError(path, 0, "is one file of a recording; give its folder, " + folder.string());
}

}  // namespace

Recording read_recording(const std::string& path, const Progress& progress, Labels labels) {
    std::error_code error;
    if (fs::is_regular_file(path, error)) {
        refuse_part_of_folder(path);
        return read_foreign(foreign_file(path), Description::needed, progress);
    }
    const Folder folder = open_folder(path);
    Recording recording;
    recording.folder = folder.path;
    recording.described_in = folder.file("recording.toml");
    const bool has_timer = read_config(folder, recording);
    read_edges(folder, has_timer, recording);
    if (folder.has("channels.csv")) {
        recording.channels = read_channels(folder.file("channels.csv"), recording.config, recording.notes);
        recording.files.emplace_back("channels.csv");
    }
    recording.has_truth = folder.has("truth.csv");
    if (recording.has_truth) recording.files.emplace_back("truth.csv");
    if (recording.has_truth && labels == Labels::read)
        recording.truth = read_truth(folder.file("truth.csv"), recording.config.engine.cylinders);
    return recording;
}

std::int64_t unwrap_tick(std::int64_t unwrapped, std::int64_t raw_before, std::int64_t raw, int bits) noexcept {
    return bits == 0 ? raw : unwrapped + counter_step(raw_before, raw, bits);
}

double duration_s(const Recording& recording) noexcept {
    if (recording.tick.empty()) return 0.0;
    const int bits = recording.config.timer.bits;
    std::int64_t clock = recording.tick.front();
    for (std::size_t i = 1; i < recording.tick.size(); ++i)
        clock = unwrap_tick(clock, recording.tick[i - 1], recording.tick[i], bits);
    return static_cast<double>(clock - recording.tick.front()) / recording.config.timer.hz;
}

}  // namespace kurbel::read
