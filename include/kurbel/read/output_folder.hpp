// A result folder that appears whole or not at all.
#pragma once

#include <filesystem>
#include <initializer_list>
#include <string>
#include <vector>

namespace kurbel::read {

/// What a folder written by one command holds.
struct FolderKind {
    const char* what;                ///< for messages: "result", "recording"
    const char* key_file;            ///< stands in every such folder, and is written last: "summary.json"
    std::vector<std::string> files;  ///< all names that may stand in it, the key file among them
};

[[nodiscard]] const FolderKind& result_folder_kind();     ///< what `kurbel analyze` writes
[[nodiscard]] const FolderKind& answer_folder_kind();     ///< what a study writes
[[nodiscard]] const FolderKind& recording_folder_kind();  ///< what `kurbel simulate` writes

/// Says early whether `target` can be written: throws InputError where it is a file, where it holds anything that a folder
/// of this kind does not, or where nothing can be created there. Leaves nothing behind.
void check_output_folder(const std::string& target, const FolderKind& kind);

/// A temporary folder that becomes `target` on commit() and vanishes otherwise. An empty target, or one written earlier by
/// the same command, is replaced. Not copyable; one thread.
class OutputFolder {
  public:
    /// Throws InputError as check_output_folder does.
    OutputFolder(const std::string& target, const FolderKind& kind);
    ~OutputFolder();
    OutputFolder(const OutputFolder&) = delete;
    OutputFolder& operator=(const OutputFolder&) = delete;

    /// Where to write the files until commit().
    [[nodiscard]] const std::filesystem::path& path() const noexcept { return temporary_; }

    /// Moves the files into place, the key file last. Throws InputError.
    void commit();

  private:
    void move_into_existing();

    std::filesystem::path target_;
    std::filesystem::path temporary_;
    std::vector<std::filesystem::path> created_parents_;  ///< outermost first; removed again without commit()
    const FolderKind& kind_;
    bool committed_ = false;
};

}  // namespace kurbel::read
