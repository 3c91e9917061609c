#include "command/shipped.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <system_error>
#include <vector>

#include "command/text.hpp"
#include "kurbel/read/input_error.hpp"

namespace kurbel::command {

namespace {

namespace fs = std::filesystem;

/// share/kurbel beside the program's own folder: an installed tree may have been moved.
fs::path shipped_folder() {
    std::error_code error;
    const fs::path program = fs::read_symlink("/proc/self/exe", error);
    return error ? fs::path() : program.parent_path().parent_path() / "share" / "kurbel";
}

std::vector<fs::path> toml_files(const fs::path& folder) {
    std::vector<fs::path> files;
    std::error_code error;
    for (const fs::directory_entry& entry : fs::directory_iterator(folder, error))
        if (entry.path().extension() == ".toml") files.push_back(entry.path());
    std::sort(files.begin(), files.end());
    return files;
}

std::string listed(const std::vector<fs::path>& files) {
    std::size_t width = 0;
    for (const fs::path& file : files) width = std::max(width, file.stem().string().size());
    std::string text;
    for (const fs::path& file : files) {
        std::string line = "  " + file.stem().string();
        line.resize(width + 4, ' ');
        text += wrapped(line + headline(file.string()), 110, width + 4) + "\n";
    }
    return text;
}

}  // namespace

std::string headline(const std::string& path) {
    std::ifstream file(path);
    std::string text;
    for (std::string line; std::getline(file, line) && !line.empty() && line[0] == '#';) {
        const std::size_t from = line.find_first_not_of("# ");
        if (from != std::string::npos) text += (text.empty() ? "" : " ") + line.substr(from);
        const std::size_t end = text.find(". ");
        if (end != std::string::npos) return text.substr(0, end);
    }
    if (!text.empty() && text.back() == '.') text.pop_back();
    return text;
}

std::string scenario_file(const std::string& name) {
    // A path is read as it is, and its reader says what is wrong with it.
    if (fs::exists(name) || name.find('/') != std::string::npos || fs::path(name).extension() == ".toml") return name;
    for (const char* part : {"scenarios", "cells"}) {
        const fs::path path = shipped_folder() / part / (name + ".toml");
        if (fs::exists(path)) return path.string();
    }
    throw read::InputError(name, 0,
                           "no such file, and no shipped scenario of that name; kurbel simulate --list names those");
}

std::string scenario_list(const std::string& folder) {
    const fs::path base = folder.empty() ? shipped_folder() : fs::path(folder);
    std::string text;
    const auto add = [&](const char* part, const char* title) {
        const std::string lines = listed(toml_files(base / part));
        if (!lines.empty()) text += (text.empty() ? "" : "\n") + std::string(title) + "\n" + lines;
    };
    add("scenarios", "Scenarios: kurbel simulate NAME --out FOLDER");
    add("cells", "Cells, each a new engine for every number: kurbel simulate NAME --draw NUMBER --out FOLDER");
    add("engines", "Engines to stand on, in a scenario of your own: engine_file = \"FOLDER/engines/NAME.toml\"");
    if (text.empty()) throw read::InputError(base.string(), 0, "holds no scenarios, cells or engines");
    return text + "\nThey lie in " + base.string() + "\n";
}

}  // namespace kurbel::command
