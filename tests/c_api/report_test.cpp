// kurbel.h: the report.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include "kurbel/kurbel.h"

namespace {

namespace fs = std::filesystem;

TEST(ReportFromC, PageIsWrittenOrTheCauseIsTold) {
    const fs::path base = fs::temp_directory_path() / "kurbel_c_api_report";
    fs::remove_all(base);
    fs::create_directories(base / "answer");
    std::ofstream(base / "answer" / "answer.json")
        << R"({"study":"verify","question":"q","verdict":"gone","sentence":"It is gone.","evidence":{"n":3},"cautions":[]})";
    const std::string folder = (base / "answer").string();
    const std::string page = (base / "report.html").string();
    const char* folders[] = {folder.c_str()};
    char text[300];
    EXPECT_EQ(kurbel_report_write(folders, 1, page.c_str(), text, sizeof text), KURBEL_OK) << text;
    std::ostringstream html;
    html << std::ifstream(page).rdbuf();
    EXPECT_NE(html.str().find("It is gone."), std::string::npos);
    EXPECT_EQ(kurbel_report_write(folders, 0, page.c_str(), text, sizeof text), KURBEL_BAD_ARGUMENT);
    EXPECT_NE(std::string(text).find("at least one folder"), std::string::npos);
    const char* wrong[] = {KURBEL_DATASETS};
    EXPECT_EQ(kurbel_report_write(wrong, 1, page.c_str(), text, sizeof text), KURBEL_BAD_INPUT);
    EXPECT_NE(std::string(text).find("neither"), std::string::npos);
    EXPECT_EQ(kurbel_report_write(nullptr, 1, page.c_str(), text, sizeof text), KURBEL_BAD_ARGUMENT);
    fs::remove_all(base);
}

}  // namespace
