// A result folder appears whole or not at all, and never over somebody else's files.
#include "kurbel/read/output_folder.hpp"

#include <gtest/gtest.h>

#include "read/folder.hpp"

namespace {

using namespace kurbel::read;
using kurbel::test::complaint;
using kurbel::test::Folder;

void fill(const OutputFolder& out, const std::string& text, bool with_plot) {
    std::ofstream(out.path() / "summary.json") << text;
    std::ofstream(out.path() / "events.csv") << text;
    if (with_plot) std::ofstream(out.path() / "plot.svg") << text;
}

TEST(OutputFolder, AppearsOnCommit) {
    const Folder folder;
    const std::string target = folder.file("deep/er/result");
    {
        OutputFolder out(target, result_folder_kind());
        fill(out, "1", true);
        EXPECT_FALSE(std::filesystem::exists(target));
        out.commit();
    }
    EXPECT_TRUE(std::filesystem::exists(target + "/summary.json"));
    EXPECT_EQ(std::distance(std::filesystem::directory_iterator(folder.file("deep/er")), {}), 1);
}

TEST(OutputFolder, LeavesNothingWithoutCommit) {
    const Folder folder;
    {
        OutputFolder out(folder.file("deep/er/result/"), result_folder_kind());
        fill(out, "1", false);
    }
    EXPECT_EQ(folder.entries(), 0) << "parents that were made for it go too";
    check_output_folder(folder.file("deep/er/result"), result_folder_kind());
    EXPECT_EQ(folder.entries(), 0);
}

TEST(OutputFolder, ReplacesItsOwnEarlierResultWhole) {
    const Folder folder;
    const std::string target = folder.file("result");
    for (const bool with_plot : {true, false}) {
        OutputFolder out(target, result_folder_kind());
        fill(out, with_plot ? "old" : "new", with_plot);
        out.commit();
    }
    EXPECT_EQ(folder.text("result/summary.json"), "new");
    EXPECT_FALSE(std::filesystem::exists(target + "/plot.svg")) << "the old plot belongs to the old result";
    EXPECT_EQ(std::distance(std::filesystem::directory_iterator(target), {}), 2);
}

TEST(OutputFolder, KeepsAnEarlierResultWhereTheNewOneFails) {
    const Folder folder;
    const std::string target = folder.file("result");
    {
        OutputFolder out(target, result_folder_kind());
        fill(out, "old", true);
        out.commit();
    }
    { OutputFolder out(target, result_folder_kind()); }
    EXPECT_EQ(folder.text("result/summary.json"), "old");
    EXPECT_EQ(std::distance(std::filesystem::directory_iterator(target), {}), 3);
}

TEST(OutputFolder, UsesAnEmptyFolder) {
    const Folder folder;
    OutputFolder out(folder.path(), result_folder_kind());
    fill(out, "1", false);
    out.commit();
    EXPECT_EQ(folder.entries(), 2);
}

TEST(OutputFolder, RefusesForeignFolders) {
    const Folder folder;
    const auto said = [&](const std::string& target) {
        return complaint(folder, [&] { check_output_folder(target, result_folder_kind()); });
    };
    std::filesystem::create_directory(folder.file("home"));
    folder.write("home/letter.txt", "dear");
    folder.write("home/summary.json", "{}");
    EXPECT_EQ(said(folder.file("home")),
              "R/home: is not empty and holds \"letter.txt\", which is no part of a result; nothing was written");
    std::filesystem::create_directory(folder.file("other"));
    folder.write("other/events.csv", "x");
    EXPECT_EQ(said(folder.file("other")), "R/other: is not empty and holds no summary.json; nothing was written");
    EXPECT_EQ(said(folder.file("home/letter.txt")), "R/home/letter.txt: is a file; a folder is wanted");
    EXPECT_EQ(said(folder.file("home/letter.txt/result")).rfind("R/home/letter.txt/result: cannot be written", 0), 0U)
        << said(folder.file("home/letter.txt/result"));
    EXPECT_EQ(folder.text("home/letter.txt"), "dear");
    EXPECT_EQ(folder.entries(), 2);
}

}  // namespace
