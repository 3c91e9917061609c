// A folder that tests write into, gone at the end of the test.
#pragma once

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

#include "kurbel/read/input_error.hpp"
#include "kurbel/read/recording.hpp"

namespace kurbel::test {

class Folder {
  public:
    Folder() {
        std::string pattern = (std::filesystem::temp_directory_path() / "kurbel-XXXXXX").string();
        if (::mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary folder");
        path_ = pattern;
    }
    ~Folder() { std::filesystem::remove_all(path_); }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;

    [[nodiscard]] std::string path() const { return path_.string(); }
    [[nodiscard]] std::string file(const std::string& name) const { return (path_ / name).string(); }
    void write(const std::string& name, const std::string& text) const {
        // Made anew: a file that is cut to nothing and written again some file systems send to the disk at once.
        if (std::filesystem::is_regular_file(path_ / name)) std::filesystem::remove(path_ / name);
        std::ofstream(path_ / name, std::ios::binary) << text;
    }
    [[nodiscard]] std::string text(const std::string& name) const {
        std::ifstream stream(path_ / name, std::ios::binary);
        return {std::istreambuf_iterator<char>(stream), {}};
    }
    [[nodiscard]] int entries() const {
        return static_cast<int>(std::distance(std::filesystem::directory_iterator(path_), {}));
    }

  private:
    std::filesystem::path path_;
};

inline const std::string kToml =
    "[engine]\ncylinders = 4\nfiring_order = [1, 3, 4, 2]\n[crank_wheel]\npositions = 60\nabsent = [58, 59]\n"
    "tdc1_deg = 84\n";

inline std::string timer_toml(double hz, int bits) {
    return kToml + "[timer]\nhz = " + std::to_string(hz) + "\nbits = " + std::to_string(bits) + "\n";
}

/// What `action` complains of, with the folder's own path taken out; "accepted" where it does not.
template <class Action>
std::string complaint(const Folder& folder, Action action) {
    try {
        action();
    } catch (const read::InputError& error) {
        std::string text = error.what();
        for (std::size_t at = text.find(folder.path()); at != std::string::npos; at = text.find(folder.path()))
            text.replace(at, folder.path().size(), "R");
        return text;
    }
    return "accepted";
}

inline std::string reading_complaint(const Folder& folder) {
    return complaint(folder, [&] { (void)read::read_recording(folder.path()); });
}

}  // namespace kurbel::test
