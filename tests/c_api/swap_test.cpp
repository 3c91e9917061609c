// kurbel.h: swap test, repair verification and the live test.
#include <gtest/gtest.h>

#include <cmath>
#include <string>

#include "kurbel/kurbel.h"

namespace {

class SwapFromC : public testing::Test {
  protected:
    static kurbel_recording* open(const char* name) {
        kurbel_recording* recording = nullptr;
        const std::string folder = std::string(KURBEL_DATASETS) + "/" + name;
        EXPECT_EQ(kurbel_recording_open(folder.c_str(), &recording, nullptr, 0), KURBEL_OK);
        return recording;
    }
    void SetUp() override {
        before_ = open("pickup-1-before");
        after_ = open("pickup-2-swapped");
    }
    void TearDown() override {
        kurbel_answer_destroy(answer_);
        kurbel_recording_close(before_);
        kurbel_recording_close(after_);
    }
    std::int32_t ask(std::int32_t from, std::int32_t to) {
        return kurbel_study_swap(&before_, 1, &after_, 1, &from, &to, 1, &answer_, text_, sizeof text_);
    }
    [[nodiscard]] bool says(const char* words) const { return std::string(text_).find(words) != std::string::npos; }

    kurbel_recording* before_ = nullptr;
    kurbel_recording* after_ = nullptr;
    kurbel_answer* answer_ = nullptr;
    char text_[300] = "";
};

TEST_F(SwapFromC, ThePartIsFollowed) {
    ASSERT_EQ(ask(4, 1), KURBEL_OK) << text_;
    EXPECT_STREQ(kurbel_answer_text(answer_, KURBEL_ANSWER_VERDICT), "followed");
    EXPECT_NE(std::string(kurbel_answer_text(answer_, KURBEL_ANSWER_JSON)).find("\"more_seconds\""), std::string::npos);
}

TEST_F(SwapFromC, RefusalsSayWhatToDo) {
    EXPECT_EQ(ask(4, 4), KURBEL_BAD_ARGUMENT);
    EXPECT_TRUE(says("exchange it with another")) << text_;
    EXPECT_EQ(answer_, nullptr);
    const std::int32_t one = 1;
    EXPECT_EQ(kurbel_study_swap(nullptr, 1, &after_, 1, &one, &one, 1, &answer_, nullptr, 0), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_study_swap(nullptr, 0, nullptr, 0, &one, &one, 1, &answer_, text_, sizeof text_),
              KURBEL_BAD_ARGUMENT);
    EXPECT_TRUE(says("at least one recording")) << text_;
}

TEST_F(SwapFromC, RepairIsVerified) {
    ASSERT_EQ(kurbel_study_verify(after_, before_, 1, 1.0, 95.0, &answer_, text_, sizeof text_), KURBEL_OK) << text_;
    EXPECT_STREQ(kurbel_answer_text(answer_, KURBEL_ANSWER_VERDICT), "remains");
    kurbel_answer_destroy(answer_);
    EXPECT_EQ(kurbel_study_verify(after_, nullptr, 1, 99.0, 95.0, &answer_, text_, sizeof text_), KURBEL_BAD_ARGUMENT);
    EXPECT_TRUE(says("limit: must lie")) << text_;
    EXPECT_EQ(answer_, nullptr);
}

TEST_F(SwapFromC, NullIsNamedAndNothingEarlierIsLeft) {
    EXPECT_EQ(ask(4, 4), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_study_verify(nullptr, nullptr, 1, 1.0, 95.0, &answer_, text_, sizeof text_), KURBEL_BAD_ARGUMENT);
    EXPECT_STREQ(text_, "recording: must not be NULL");
    EXPECT_EQ(kurbel_study_verify(after_, nullptr, 1, 1.0, 95.0, nullptr, text_, sizeof text_), KURBEL_BAD_ARGUMENT);
    EXPECT_STREQ(text_, "out: must not be NULL");
}

TEST(RepairTestFromC, CountsDownLive) {
    kurbel_repair_test* test = nullptr;
    EXPECT_EQ(kurbel_repair_test_create(0, 1.0, 95.0, 2e-5, 1.0, &test), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(kurbel_repair_test_create(4, 1.0, 95.0, 2e-5, std::nan(""), &test), KURBEL_BAD_ARGUMENT);
    EXPECT_EQ(test, nullptr);
    ASSERT_EQ(kurbel_repair_test_create(4, 1.0, 95.0, 2e-5, 1.0, &test), KURBEL_OK);
    kurbel_repair_state state{};
    EXPECT_EQ(kurbel_repair_test_state(test, &state), KURBEL_BAD_ARGUMENT);
    state.struct_size = sizeof state;
    kurbel_event event{};
    EXPECT_EQ(kurbel_repair_test_push(test, &event), KURBEL_BAD_ARGUMENT);
    event.struct_size = sizeof event;
    event.cylinder = 4;
    event.verdict = KURBEL_FIRED;
    for (int i = 0; i < 314; ++i) {
        ASSERT_EQ(kurbel_repair_test_state(test, &state), KURBEL_OK);
        EXPECT_EQ(state.state, KURBEL_REPAIR_RUNNING);
        EXPECT_EQ(state.clean_needed, 314 - i);
        event.time_s = 0.15 * i;
        ASSERT_EQ(kurbel_repair_test_push(test, &event), KURBEL_OK);
    }
    ASSERT_EQ(kurbel_repair_test_state(test, &state), KURBEL_OK);
    EXPECT_EQ(state.state, KURBEL_REPAIR_GONE);
    EXPECT_EQ(state.struct_size, sizeof state);
    EXPECT_NEAR(state.decided_s, 0.15 * 313, 1e-9);
    EXPECT_EQ(state.firings, 314);
    kurbel_repair_test_destroy(test);
    kurbel_repair_test_destroy(nullptr);
}

}  // namespace
