#include "kurbel/read/output_folder.hpp"

#include <unistd.h>

#include <algorithm>

#include "kurbel/read/input_error.hpp"

namespace kurbel::read {

namespace fs = std::filesystem;

namespace {

[[noreturn]] void fail(const fs::path& path, const std::string& cause) { throw InputError(path.string(), 0, cause); }

/// The folder without a slash at its end, so that it has a name and a parent.
fs::path normal_path(const std::string& target) {
    std::error_code error;
    fs::path path = fs::absolute(target, error).lexically_normal();
    if (error || target.empty()) throw InputError(target, 0, "is no name for a folder");
    if (!path.has_filename()) path = path.parent_path();
    return path;
}

bool belongs(const FolderKind& kind, const std::string& name) {
    return std::find(kind.files.begin(), kind.files.end(), name) != kind.files.end();
}

/// Refuses a file, and a folder that somebody else filled.
void refuse_foreign(const fs::path& target, const FolderKind& kind) {
    std::error_code error;
    const fs::file_status status = fs::status(target, error);
    if (!fs::exists(status)) return;
    if (!fs::is_directory(status)) fail(target, "is a file; a folder is wanted");
    bool has_key = false;
    std::string foreign;
    for (const fs::directory_entry& entry : fs::directory_iterator(target, error)) {
        const std::string name = entry.path().filename().string();
        has_key = has_key || name == kind.key_file;
        if (!belongs(kind, name) || entry.is_directory()) foreign = name;
    }
    if (error) fail(target, "cannot be looked into: " + error.message());
    if (!foreign.empty())
        fail(target, "is not empty and holds \"" + foreign + "\", which is no part of a " + kind.what +
                         "; nothing was written");
    if (!has_key && !fs::is_empty(target, error))
        fail(target, std::string("is not empty and holds no ") + kind.key_file + "; nothing was written");
}

/// Creates the missing parents; lists them, outermost first.
std::vector<fs::path> create_parents(const fs::path& target) {
    std::vector<fs::path> missing;
    for (fs::path parent = target.parent_path(); !parent.empty() && parent != parent.parent_path();
         parent = parent.parent_path()) {
        std::error_code error;
        if (fs::exists(parent, error)) break;
        missing.insert(missing.begin(), parent);
    }
    std::vector<fs::path> created;
    for (const fs::path& parent : missing) {
        std::error_code error;
        fs::create_directory(parent, error);
        if (error) {
            for (auto made = created.rbegin(); made != created.rend(); ++made) fs::remove(*made, error);
            fail(target, "cannot be written: " + parent.string() + " cannot be created");
        }
        created.push_back(parent);
    }
    return created;
}

}  // namespace

const FolderKind& result_folder_kind() {
    static const FolderKind kind{
        "result",
        "summary.json",
        {"summary.json", "events.csv", "teeth.csv", "segments.csv", "crank-load.csv", "plot.svg"}};
    return kind;
}

const FolderKind& answer_folder_kind() {
    static const FolderKind kind{"answer", "answer.json", {"answer.json", "picture.svg"}};
    return kind;
}

const FolderKind& recording_folder_kind() {
    static const FolderKind kind{
        "recording",
        "recording.toml",
        {"recording.toml", "edges.csv", "crank.npy", "cam.npy", "channels.csv", "truth.csv", "scenario.toml",
         "truth_wheel.csv", "truth_phase.toml", "truth_edges.csv", "truth_firings.csv", "truth_battery.csv"}};
    return kind;
}

void check_output_folder(const std::string& target, const FolderKind& kind) { const OutputFolder probe(target, kind); }

OutputFolder::OutputFolder(const std::string& target, const FolderKind& kind)
    : target_(normal_path(target)), kind_(kind) {
    refuse_foreign(target_, kind);
    std::error_code error;
    const bool exists = fs::exists(target_, error);
    if (!exists) created_parents_ = create_parents(target_);
    const std::string suffix = ".part-" + std::to_string(::getpid());
    // Beside a new folder, so that it appears in one rename; inside one that exists, for it may be a mount point.
    temporary_ = exists ? target_ / ("kurbel" + suffix) : fs::path(target_.string() + suffix);
    fs::create_directory(temporary_, error);
    if (!error) return;
    for (auto made = created_parents_.rbegin(); made != created_parents_.rend(); ++made) {
        std::error_code ignored;
        fs::remove(*made, ignored);
    }
    fail(target_, "cannot be written: " + error.message());
}

OutputFolder::~OutputFolder() {
    if (committed_) return;
    std::error_code ignored;
    fs::remove_all(temporary_, ignored);
    for (auto made = created_parents_.rbegin(); made != created_parents_.rend(); ++made) fs::remove(*made, ignored);
}

void OutputFolder::commit() {
    std::error_code error;
    if (temporary_.parent_path() == target_)
        move_into_existing();
    else if (fs::rename(temporary_, target_, error); error)
        fail(target_, "cannot be written: " + error.message());
    committed_ = true;
}

/// The old key file goes first and the new one comes last, so that a folder with a key file is always whole.
void OutputFolder::move_into_existing() {
    std::error_code error;
    fs::remove(target_ / kind_.key_file, error);
    for (const std::string& name : kind_.files)
        if (!error) fs::remove(target_ / name, error);
    for (auto name = kind_.files.rbegin(); name != kind_.files.rend(); ++name)
        if (!error && *name != kind_.key_file && fs::exists(temporary_ / *name))
            fs::rename(temporary_ / *name, target_ / *name, error);
    if (!error) fs::rename(temporary_ / kind_.key_file, target_ / kind_.key_file, error);
    if (!error) fs::remove(temporary_, error);
    if (error) fail(target_, "cannot be written: " + error.message());
}

}  // namespace kurbel::read
