#include "kurbel/study/answer.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "kurbel/read/input_error.hpp"
#include "kurbel/study/cautions.hpp"

namespace kurbel {
namespace {

namespace fs = std::filesystem;

Answer some_answer() {
    Answer answer;
    answer.study = "swap";
    answer.question = "Which \"part\"?";
    answer.verdict = "followed";
    answer.sentence = "It followed.";
    answer.table = "  a  b\n";
    answer.evidence = R"({"more_seconds": null, "rate": 0.25})";
    answer.cautions = cautions({Caution::hot_exhaust});
    answer.picture = "<svg/>\n";
    return answer;
}

std::string text_of(const fs::path& path) {
    std::ifstream stream(path);
    std::ostringstream text;
    text << stream.rdbuf();
    return text.str();
}

class AnswerFolder : public testing::Test {
  protected:
    void SetUp() override {
        folder_ = fs::path(testing::TempDir()) / "kurbel-answer-test";
        fs::remove_all(folder_);
    }
    void TearDown() override { fs::remove_all(folder_); }
    fs::path folder_;
};

TEST(Answer, JsonHoldsTheContractsFields) {
    const auto json = nlohmann::json::parse(answer_json(some_answer()));
    EXPECT_EQ(json["question"], "Which \"part\"?");
    EXPECT_EQ(json["verdict"], "followed");
    EXPECT_EQ(json["sentence"], "It followed.");
    EXPECT_EQ(json["evidence"]["rate"], 0.25);
    EXPECT_TRUE(json["evidence"]["more_seconds"].is_null());
    ASSERT_EQ(json["cautions"].size(), 2u);
    EXPECT_NE(json["cautions"][0].get<std::string>().find("licensed practice"), std::string::npos);
}

TEST(Answer, EvidenceThatIsNoObjectIsRefused) {
    Answer answer = some_answer();
    for (const char* bad : {"", "[1]", "{\"a\":", "3"}) {
        answer.evidence = bad;
        EXPECT_THROW(static_cast<void>(answer_json(answer)), std::invalid_argument) << bad;
    }
}

TEST(Answer, BytesThatAreNoTextDoNotStopIt) {
    Answer answer = some_answer();
    answer.question = "folder \xff\xfe";
    EXPECT_TRUE(nlohmann::json::accept(answer_json(answer)));
}

TEST(Answer, TerminalTextBeginsWithTheSentence) {
    const std::string text = answer_text(some_answer());
    EXPECT_EQ(text.rfind("It followed.\n\n  a  b\n\nCautions\n- Local rules", 0), 0u) << text;
}

TEST_F(AnswerFolder, IsReplacedWholeAndLeavesNoOldPicture) {
    save_answer(some_answer(), folder_.string());
    EXPECT_EQ(text_of(folder_ / "picture.svg"), "<svg/>\n");
    Answer second = some_answer();
    second.picture.clear();
    second.verdict = "stayed";
    save_answer(second, folder_.string());
    EXPECT_FALSE(fs::exists(folder_ / "picture.svg"));
    EXPECT_EQ(nlohmann::json::parse(text_of(folder_ / "answer.json"))["verdict"], "stayed");
}

TEST_F(AnswerFolder, OfSomebodyElseIsLeftAlone) {
    fs::create_directories(folder_);
    std::ofstream(folder_ / "notes.txt") << "mine";
    EXPECT_THROW(save_answer(some_answer(), folder_.string()), read::InputError);
    EXPECT_EQ(text_of(folder_ / "notes.txt"), "mine");
    EXPECT_FALSE(fs::exists(folder_ / "answer.json"));
}

}  // namespace
}  // namespace kurbel
