// kurbel.h: the studies that compare cylinders, running and cranked.
#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>
#include <string>

#include "kurbel/kurbel.h"

namespace {

class BalanceFromC : public ::testing::Test {
  protected:
    kurbel_recording* open(const char* name) {
        const std::string folder = std::string(KURBEL_DATASETS) + "/" + name;
        kurbel_recording_close(recording_);
        recording_ = nullptr;
        EXPECT_EQ(kurbel_recording_open(folder.c_str(), &recording_, nullptr, 0), KURBEL_OK);
        return recording_;
    }
    ~BalanceFromC() override {
        kurbel_answer_destroy(answer_);
        kurbel_recording_close(recording_);
    }
    [[nodiscard]] std::string text(int32_t part) const { return kurbel_answer_text(answer_, part); }

    kurbel_recording* recording_ = nullptr;
    kurbel_answer* answer_ = nullptr;
    char said_[300] = "before";
};

TEST_F(BalanceFromC, CrankingReadsTheLeak) {
    ASSERT_EQ(kurbel_study_cranking(open("pickup-cranking"), 4.0, &answer_, said_, sizeof said_), KURBEL_OK);
    EXPECT_STREQ(said_, "");
    EXPECT_EQ(text(KURBEL_ANSWER_VERDICT), "uneven");
    EXPECT_NE(text(KURBEL_ANSWER_SENTENCE).find("cylinder 5"), std::string::npos);
    EXPECT_NE(text(KURBEL_ANSWER_PICTURE).find("</svg>"), std::string::npos);
    const auto evidence = nlohmann::json::parse(text(KURBEL_ANSWER_JSON))["evidence"];
    ASSERT_EQ(evidence["cylinders"].size(), 5U);
    for (const auto& row : evidence["cylinders"]) EXPECT_EQ(row["below_limit"], row["cylinder"] == 5);
}

TEST_F(BalanceFromC, WorkComparesRunningCylinders) {
    ASSERT_EQ(kurbel_study_work(open("pickup-1-before"), 2.0, &answer_, said_, sizeof said_), KURBEL_OK);
    EXPECT_EQ(text(KURBEL_ANSWER_VERDICT), "uneven");
    const auto evidence = nlohmann::json::parse(text(KURBEL_ANSWER_JSON))["evidence"];
    ASSERT_EQ(evidence["cylinders"].size(), 5U);
    const auto& faulty = evidence["cylinders"][3];  // loses firings
    EXPECT_EQ(faulty["cylinder"], 4);
    EXPECT_TRUE(faulty["differs"]);
    EXPECT_LT(faulty["high"], -2.0);
    EXPECT_GT(faulty["misfire_rate"], 0.05);
}

TEST_F(BalanceFromC, RefusalsSayWhatToDo) {
    open("pickup-1-before");
    EXPECT_EQ(kurbel_study_cranking(recording_, 10.0, &answer_, said_, sizeof said_), KURBEL_BAD_INPUT);
    EXPECT_NE(std::string(said_).find("disable fuel and ignition"), std::string::npos);
    EXPECT_EQ(answer_, nullptr);
    for (const double limit : {0.0, 31.0, -5.0, std::numeric_limits<double>::quiet_NaN()}) {
        EXPECT_EQ(kurbel_study_work(recording_, limit, &answer_, said_, sizeof said_), KURBEL_BAD_ARGUMENT) << limit;
        EXPECT_NE(std::string(said_).find("limit"), std::string::npos);
    }
    EXPECT_EQ(kurbel_study_work(recording_, 2.0, nullptr, said_, sizeof said_), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_study_work(nullptr, 2.0, &answer_, said_, sizeof said_), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_study_cranking(nullptr, 10.0, &answer_, nullptr, 0), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_study_work(open("pickup-cranking"), 2.0, &answer_, said_, sizeof said_), KURBEL_BAD_INPUT);
    EXPECT_NE(std::string(said_).find("the starter turns this engine"), std::string::npos);
    EXPECT_EQ(answer_, nullptr);
}

}  // namespace
